//! The live page: the same levels and sentence in any browser, on the wall or on a phone.
//!
//! ```text
//! Board ─► /events (server-sent events, the newest view only) ─► browser
//! browser's buttons ─► /ask (with the key) ─► Board
//! ```
//!
//! Everything the page needs comes from this program; it asks nobody else. It is served to this computer only, unless an
//! address is given to listen on; who may do what is decided in `guard`.

mod guard;
mod routes;

pub use guard::Guard;

use std::{
    io,
    net::{IpAddr, SocketAddr, TcpListener, UdpSocket},
    sync::Arc,
    time::Duration,
};

use qrcode::{QrCode, render::unicode::Dense1x2};

use super::board::Board;
use crate::session::JudgedPass;

/// Port used when none is named.
pub const PORT: u16 = 4747;
/// Open pages have this long to end.
const GOODBYE: Duration = Duration::from_secs(2);

/// Draws a pass's sheet (PNG); `None` when that cannot be done.
pub type DrawSheet = Arc<dyn Fn(&JudgedPass) -> Option<Vec<u8>> + Send + Sync>;

/// Why there is no page.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PageError {
    /// The address is taken.
    #[error(
        "the live page cannot use {address}: another program has it (another `steadypass` with a page?); choose another port, for example {}",
        .address.port().checked_add(1).unwrap_or(PORT)
    )]
    Taken {
        /// Where the page should be.
        address: SocketAddr,
    },
    /// It is not this computer's.
    #[error("the live page cannot listen on {address}: this computer has no such address")]
    NotOurs {
        /// Where the page should be.
        address: SocketAddr,
    },
    /// Another error of the operating system.
    #[error("the live page cannot listen on {address}: {source}")]
    Os {
        /// Where the page should be.
        address: SocketAddr,
        /// What it said.
        source: io::Error,
    },
}

/// A page whose address is taken, not yet served.
pub struct Page {
    listener: TcpListener,
    guard: Arc<Guard>,
    address: SocketAddr,
}

impl Page {
    /// Takes the address. Beyond this computer's own (loopback) every visitor must show the key.
    ///
    /// # Errors
    /// [`PageError`] says what is in the way.
    pub fn bind(address: SocketAddr) -> Result<Self, PageError> {
        let failed = |source: io::Error| match source.kind() {
            io::ErrorKind::AddrInUse => PageError::Taken { address },
            io::ErrorKind::AddrNotAvailable => PageError::NotOurs { address },
            _ => PageError::Os { address, source },
        };
        let listener = TcpListener::bind(address).map_err(failed)?;
        listener.set_nonblocking(true).map_err(failed)?;
        let bound = listener.local_addr().map_err(failed)?;
        // "All addresses" is none that a browser could open.
        let shown = if bound.ip().is_unspecified() { SocketAddr::new(own_address(), bound.port()) } else { bound };
        let guard = Guard::new(shown, !bound.ip().is_loopback()).map_err(|error| failed(io::Error::other(error)))?;
        Ok(Self { listener, guard: Arc::new(guard), address: shown })
    }

    /// Where it is, without a key.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Who may come in.
    pub fn guard(&self) -> Arc<Guard> {
        Arc::clone(&self.guard)
    }

    /// Serves it until the board comes down.
    ///
    /// # Errors
    /// When the network fails.
    pub async fn serve(self, board: Board, draw: DrawSheet) -> io::Result<()> {
        let listener = tokio::net::TcpListener::from_std(self.listener)?;
        let mut closing = board.closing();
        let routes = routes::router(board.clone(), self.guard, draw);
        let mut told = board.closing();
        let served = async {
            axum::serve(listener, routes)
                .with_graceful_shutdown(async move {
                    let _ = told.wait_for(|closed| *closed).await;
                })
                .await
        };
        tokio::select! {
            served = served => served,
            // A browser that does not let go must not keep the program from ending.
            () = async {
                let _ = closing.wait_for(|closed| *closed).await;
                tokio::time::sleep(GOODBYE).await;
            } => Ok(()),
        }
    }
}

/// The address other computers would see; nothing is sent for it.
fn own_address() -> IpAddr {
    // Connecting a datagram socket only chooses a route. 192.0.2.0/24 is for documentation (RFC 5737).
    UdpSocket::bind("0.0.0.0:0")
        .and_then(|socket| socket.connect("192.0.2.1:9").and_then(|()| socket.local_addr()))
        .map_or(IpAddr::from([127, 0, 0, 1]), |address| address.ip())
}

/// What to tell the user about a page: its link, with a code to photograph when it is for other devices.
pub fn card(guard: &Guard) -> Vec<String> {
    let link = guard.link();
    let mut lines = vec![String::new(), "  Live page, to open once:".into(), format!("  {link}"), String::new()];
    if guard.is_wide() {
        if let Ok(code) = QrCode::new(&link) {
            // Light modules on a dark terminal: cameras read the code both ways round, but not all read it inverted.
            let picture = code
                .render::<Dense1x2>()
                .dark_color(Dense1x2::Dark)
                .light_color(Dense1x2::Light)
                .quiet_zone(true)
                .build();
            lines.extend(picture.lines().map(|line| format!("  {line}")));
        }
        lines.push("  Plain HTTP: others on this network could read along. Show no customers' names.".into());
    }
    lines.push("  The link serves once; for another device show it anew.".into());
    lines
}
