//! One deed of a person on one document: carried out, told, and taken back while it is told. A desk keeps its own
//! stack of deeds; everywhere else this is the way.

use backstraight_core::doc::command::Command;
use backstraight_core::model::name::DocName;
use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::hub::Hub;
use crate::kit::Toaster;

/// Carries commands out, one after the other, and says so; the last one can be taken back. `stands` hears when the
/// deed stands and when it was taken back, where somebody wants to know: a
/// plain function, since the part of the screen that asked may be drawn anew meanwhile.
pub fn carry_out(
    hub: Hub,
    toaster: Toaster,
    doc: DocName,
    commands: Vec<Command>,
    said: &'static str,
    stands: impl Fn(bool) + Clone + Send + Sync + 'static,
) {
    let undo = commands.last().and_then(|c| c.inverse(&hub.key(), hub.now()));
    spawn_local(async move {
        if let Err(error) = hub.run_all(doc, &commands).await {
            toaster.say(error.to_string());
            return;
        }
        stands(true);
        let Some(undo) = undo else {
            toaster.say(said);
            return;
        };
        let back = move |()| {
            let (undo, stands) = (undo.clone(), stands.clone());
            spawn_local(async move {
                match hub.run(doc, &undo).await {
                    Ok(_) => stands(false),
                    Err(error) => toaster.say(error.to_string()),
                }
            });
        };
        toaster.with_undo(said, Callback::new(back));
    });
}
