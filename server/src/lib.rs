//! The server of Backstraight: takes what phones and desks wrote, keeps it, and gives everybody what
//! they may see.
//!
//! To run one inside a test: [`app::start`] with [`config::Config::on`] a temporary folder, then
//! requests to `http://{address}`; people and codes by [`store::people`] and [`store::account`]
//! through `running.app.store`; [`app::Running::stop`] at the end.
//!
//! A request passes [`routes`] (what there is), [`extract`] (who asks), [`grant`] (what they may),
//! [`exchange`] (what is checked and answered) and [`store`] (what is kept). [`project`] keeps the rows
//! from which boards are read. Rules of the sport and
//! of documents are none of this crate's: they are in `backstraight-core`.

pub mod app;
pub mod calendar;
pub mod cli;
pub mod config;
pub mod connections;
pub mod erase;
pub mod exchange;
pub mod export;
pub mod extract;
pub mod folder;
pub mod grant;
pub mod headers;
pub mod job;
mod leftover;
pub mod limits;
pub mod load;
pub mod nudge;
pub mod page;
pub mod passkey;
pub mod password;
mod patience;
pub mod problem;
pub mod project;
pub mod rate;
pub mod report;
pub mod review;
pub mod routes;
pub mod secret;
pub mod squad;
pub mod store;
pub mod telemetry;
pub mod tls;
pub mod token;
pub mod watch;
