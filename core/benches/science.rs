//! Speed of the formulas for a whole squad: 60 athletes, one season of 42 weeks.
//! Budget: 20 ms on one core for all maxima, profiles, trends and load series together.

mod squad;

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};

fn bench(criterion: &mut Criterion) {
    let seasons = squad::seasons();
    assert_eq!(squad::compute(&seasons), squad::answers());
    criterion.bench_function("squad of 60, one season", |b| {
        b.iter(|| squad::compute(black_box(&seasons)));
    });
}

criterion_group!(benches, bench);
criterion_main!(benches);
