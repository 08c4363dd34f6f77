//! A phone that waits for news of a real server while it goes on logging, and exchanges when told.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::channel;
use std::time::Duration;

use backstraight_core::exchange::access::Role;
use backstraight_ffi::news::{Listener, News, Pace};
use backstraight_ffi::transport::Http;
use backstraight_tests::stand::{MINUTE, START, Stand, november};

#[test]
fn a_desk_hears_of_a_set_while_it_works_and_of_nothing_after_it_stops() {
    let mut stand = Stand::with(START, |config| config.nudge_seconds = 1);
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let (mut phone, mut desk) =
        (stand.phone(mira, "phone"), stand.phone(stand.person(Role::Coach, "Ruth Adeyemi"), "desk"));
    desk.exchange(&stand.url());
    let (access, url) = (desk.phone.identity().access.clone(), stand.url());
    let stop = Arc::new(AtomicBool::new(false));
    let (heard, stopped) = (channel(), Arc::clone(&stop));
    let waits = std::thread::spawn(move || {
        let pace =
            Pace { first: Duration::from_millis(50), most: Duration::from_millis(200), ..Pace::default() };
        let (mut listener, mut http) = (Listener::at(pace), Http::new(&url));
        loop {
            let news = listener.wait(&access, &mut http, &stopped).unwrap();
            let over = matches!(news, News::Stopped | News::Renew);
            heard.0.send(news).unwrap();
            if over {
                return;
            }
        }
    });
    let next = || heard.1.recv_timeout(Duration::from_secs(20)).unwrap();
    assert_eq!(next(), News::Exchange, "what came before it listened is not known");
    let mut session = phone.begin();
    phone.set(&mut session, 1).unwrap();
    phone.exchange(&stand.url());
    let log = november(mira);
    assert_eq!(next(), News::Of(vec![log]));
    desk.exchange(&stand.url());
    assert_eq!(desk.numbers(log), [1]);
    // The server is started anew: on another port, so the line stays broken; it is not an error.
    stand.clock.set(START.plus_ms(MINUTE));
    stand.stop();
    std::thread::sleep(Duration::from_millis(300));
    assert!(heard.1.try_recv().is_err());
    stop.store(true, Ordering::Relaxed);
    assert_eq!(next(), News::Stopped);
    waits.join().unwrap();
}

#[test]
fn a_token_that_has_ended_asks_for_an_exchange_which_renews_it() {
    let stand = Stand::default();
    let mut desk = stand.phone(stand.person(Role::Coach, "Ruth Adeyemi"), "desk");
    stand.clock.set(START.plus_ms(60 * MINUTE));
    let (mut listener, mut http, stop) =
        (Listener::default(), Http::new(&stand.url()), AtomicBool::new(false));
    let access = desk.phone.identity().access.clone();
    assert_eq!(listener.wait(&access, &mut http, &stop).unwrap(), News::Renew);
    desk.exchange(&stand.url());
    let access = desk.phone.identity().access.clone();
    assert_eq!(listener.wait(&access, &mut http, &stop).unwrap(), News::Exchange);
}
