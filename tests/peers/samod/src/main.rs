//! A samod server on files of its own: its filesystem store under a Repo on tokio, with axum's websocket in front.
//! Prints the port that it listens on. Knows nothing of what is measured.

use axum::Router;
use axum::extract::ws::WebSocketUpgrade;
use axum::routing::get;
use samod::storage::TokioFilesystemStorage;
use samod::{Repo, ShareConfig};

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).ok_or("say the folder")?;
    // Nobody is told of documents that they did not ask for.
    let policy = ShareConfig::read_write().with_announce(false);
    let storage = TokioFilesystemStorage::new(folder);
    let repo = Repo::build_tokio().with_storage(storage).with_share_policy(policy).load().await;
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await?;
    let port = listener.local_addr()?.port();
    let acceptor = repo.make_acceptor(format!("ws://127.0.0.1:{port}/").parse()?)?;
    let app = Router::new().route(
        "/",
        get(|upgrade: WebSocketUpgrade| async move {
            upgrade.on_upgrade(|socket| async move {
                if let Err(stopped) = acceptor.accept_axum(socket, None) {
                    eprintln!("{stopped:?}");
                }
            })
        }),
    );
    println!("port {port}");
    axum::serve(listener, app).await?;
    Ok(())
}
