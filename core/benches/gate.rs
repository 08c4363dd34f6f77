//! The gate on two weeks without a signal: 264 changes, one for each set, onto a month log that
//! holds 1,000 changes. Budget: cut, read, checked and turned into a delta within 1.0 ms.
//! Prints sizes too: plain chunks, gzip of them, the thin form, the delta.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a bench fails by panicking")]

#[path = "../tests/gate_support/mod.rs"]
mod gate_support;

use std::hint::black_box;
use std::io::Write as _;

use backstraight_core::base::key::KeyMint;
use backstraight_core::doc::chunk;
use backstraight_core::doc::gate::{GateIndex, Verdict, delta_bytes};
use backstraight_core::doc::thin::{ThinLimits, pack, unpack};
use backstraight_core::model::name::Kind;
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use gate_support::engine::merge;
use gate_support::honest::{log, open, plain};
use gate_support::{Rng, actor, anyone};

fn gzip(bytes: &[u8], level: u32) -> usize {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::new(level));
    encoder.write_all(bytes).and_then(|()| encoder.finish()).map_or(0, |out| out.len())
}

/// Prints the CPU time of one run: on a busy machine the clock on the wall says little.
fn cpu<T>(what: &str, mut work: impl FnMut() -> T) {
    let spent = || {
        let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
        text.split(' ').next().and_then(|n| n.parse::<f64>().ok()).unwrap_or(0.0)
    };
    let mut each: Vec<f64> = (0..9)
        .map(|_| {
            let begun = spent();
            (0..400).for_each(|_| drop(black_box(work())));
            (spent() - begun) / 400.0 / 1e6
        })
        .collect();
    each.sort_by(f64::total_cmp);
    println!(
        "CPU {what}: {:.3} ms, least {:.3} ms",
        each.get(4).unwrap_or(&0.0),
        each.first().unwrap_or(&0.0)
    );
}

fn two_weeks(c: &mut Criterion) {
    let mut rng = Rng(1);
    let mut doc = open(Kind::Log, actor(0, [5; 8]));
    let mut mint = KeyMint::new([1, 2, 3, 4]);
    log(&mut doc, &mut mint, &mut rng, 46, 22, 1_793_000_000_000);
    let earlier = plain(&mut doc, &[]);
    let index = GateIndex::from_changes(Kind::Log, &earlier).unwrap();
    let old = doc.clone();
    let heads = doc.get_heads();
    doc.set_actor(automerge::ActorId::from(actor(0, [6; 8]).0));
    let mut mint = KeyMint::new([7, 2, 3, 4]);
    log(&mut doc, &mut mint, &mut rng, 12, 22, 1_795_000_000_000);
    let upload = plain(&mut doc, &heads);

    let Verdict::Accept(accepted) = index.check(&upload, &anyone).unwrap() else { panic!("needs more") };
    let (delta, thin, whole) = (delta_bytes(&accepted), pack(&upload), index.whole_delta());
    println!("earlier changes {}, index delta of them {} B", index.len(), whole.len());
    println!(
        "upload of {} changes: {} B plain, gzip-6 {} B, gzip-9 {} B, thin {} B, gzip of thin {} B, delta {} B",
        accepted.fresh().len(),
        upload.len(),
        gzip(&upload, 6),
        gzip(&upload, 9),
        thin.len(),
        gzip(&thin, 9),
        delta.len(),
    );
    let one =
        accepted.fresh().last().map(|f| upload.get(f.range.clone()).unwrap_or_default()).unwrap_or_default();
    println!("one change: {} B plain, gzip-9 {} B, thin {} B", one.len(), gzip(one, 9), pack(one).len());

    cpu("split and parse", || {
        chunk::split(&upload).unwrap().into_iter().map(|c| chunk::parse(c).unwrap().ops.len()).sum::<usize>()
    });
    cpu("names (SHA-256)", || {
        chunk::split(&upload)
            .unwrap()
            .into_iter()
            .map(|c| usize::from(chunk::name(c).unwrap().0[0]))
            .sum::<usize>()
    });
    cpu("check", || index.check(black_box(&upload), &anyone).unwrap());
    cpu("check and delta", || {
        let Verdict::Accept(a) = index.check(black_box(&upload), &anyone).unwrap() else {
            panic!("needs more")
        };
        delta_bytes(&a)
    });
    cpu("clone index and admit", || {
        let mut index = index.clone();
        index.admit(&accepted).unwrap();
        index
    });
    cpu("clone index", || index.clone());
    cpu("replay the index of 1,000 changes", || GateIndex::replay(Kind::Log, [whole.as_slice()]).unwrap());
    cpu("pack", || pack(black_box(&upload)));
    cpu("unpack", || unpack(black_box(&thin), ThinLimits::default()).unwrap());
    cpu("gzip-6", || gzip(black_box(&upload), 6));

    c.bench_function("gate/split, names and parse of 264 changes", |b| {
        b.iter(|| {
            chunk::split(&upload)
                .unwrap()
                .into_iter()
                .map(|c| chunk::parse(c).unwrap().ops.len())
                .sum::<usize>()
        });
    });
    c.bench_function("gate/names only (SHA-256)", |b| {
        b.iter(|| {
            chunk::split(&upload)
                .unwrap()
                .into_iter()
                .map(|c| usize::from(chunk::name(c).unwrap().0[0]))
                .sum::<usize>()
        });
    });
    c.bench_function("gate/check and delta of 264 changes", |b| {
        b.iter(|| {
            let Verdict::Accept(a) = index.check(black_box(&upload), &anyone).unwrap() else {
                panic!("needs more")
            };
            delta_bytes(&a)
        });
    });
    c.bench_function("gate/admit 264 changes", |b| {
        b.iter_batched(
            || index.clone(),
            |mut index| {
                index.admit(&accepted).unwrap();
                index
            },
            BatchSize::SmallInput,
        );
    });
    c.bench_function("gate/replay the index of 1,000 changes", |b| {
        b.iter(|| GateIndex::replay(Kind::Log, [whole.as_slice()]).unwrap().len());
    });
    c.bench_function("gate/merge 264 changes into the document", |b| {
        b.iter_batched(
            || old.clone(),
            |mut doc| {
                merge(&mut doc, &index, &accepted, &upload).unwrap();
                doc
            },
            BatchSize::SmallInput,
        );
    });
    c.bench_function("thin/pack 264 changes", |b| b.iter(|| pack(black_box(&upload))));
    c.bench_function("thin/unpack 264 changes", |b| {
        b.iter(|| unpack(black_box(&thin), ThinLimits::default()).unwrap());
    });
    c.bench_function("thin/for comparison: gzip-6 of the plain bytes", |b| {
        b.iter(|| gzip(black_box(&upload), 6));
    });
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(30).measurement_time(std::time::Duration::from_secs(2)).warm_up_time(std::time::Duration::from_millis(500));
    targets = two_weeks
}
criterion_main!(benches);
