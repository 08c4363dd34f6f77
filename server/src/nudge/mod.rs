//! Nudges: open streams are told that a document has news. What the news is, the exchange says.

mod hub;
mod stream;

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use crate::app::Shared;
use crate::store::news::{Heard, Subscription, Told};

pub use hub::{Full, Hub, Listening, Missed, Place};
pub use stream::Stream;

/// Words of one exchange come one after the other; so long is waited for the others, to tell them in one.
const TOGETHER: Duration = Duration::from_millis(10);

/// Hands what was made durable to the streams, by whichever process over the same database, until it is
/// dropped.
pub async fn feed(app: Shared, mut news: Subscription) {
    while let Some(first) = news.next().await {
        if let Heard::Told(Told::Rows(_)) = first {
            continue;
        }
        tokio::time::sleep(TOGETHER).await;
        let (mut documents, mut people) = (BTreeMap::<_, BTreeSet<_>>::new(), BTreeSet::new());
        let mut heard = Some(first);
        while let Some(word) = heard {
            match word {
                Heard::Told(Told::Document(club, name, by)) => {
                    documents.entry((club, by)).or_default().insert(name);
                }
                Heard::Told(Told::People(club)) => drop(people.insert(club)),
                Heard::Told(Told::Rows(_)) => {}
                Heard::Missed => app.hub.missed(),
            }
            heard = news.more();
        }
        // Open streams look up at once whether they may go on.
        people.into_iter().for_each(|club| app.hub.rights_changed(club));
        for ((club, by), names) in documents {
            app.hub.tell(club, by, names);
        }
    }
}
