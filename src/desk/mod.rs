//! Side entrance: the desk, a local page. It serves one page and a small JSON interface (`docs/desk.md`) that calls the same
//! walk as the command line; the page measures nothing.

mod answer;
mod assets;
mod connections;
mod drawing;
mod edits;
mod guard;
mod item;
mod keep;
mod lens;
mod lock;
mod opened;
mod papers;
mod photos;
mod query;
mod rider;
mod routes;
mod shelf;
mod stage;

use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::path::PathBuf;
use std::sync::Arc;

use anyhow::{Context, anyhow, bail};

use crate::fit::rule::RuleSet;
use guard::Guard;
use photos::Photos;
use rider::ChosenRider;

/// How the desk is opened.
#[derive(Debug, Clone)]
pub struct Wish {
    /// The shelf's folder; nothing else is written.
    pub folder: PathBuf,
    /// The port; any free one without it.
    pub port: Option<u16>,
    /// Whether other devices of the network are let in.
    pub let_in: bool,
}

/// An open desk.
pub struct Desk {
    listener: TcpListener,
    room: Arc<Room>,
    addresses: Vec<String>,
}

/// What every request works with.
pub struct Room {
    guard: Guard,
    folder: PathBuf,
    photos: Photos,
    rider: ChosenRider,
    rules: RuleSet,
}

/// Requests answered at a time: a page asks for pictures, progress and a width at once.
const HANDS: usize = 6;

impl Desk {
    /// Takes the port, and prepares what is needed to answer.
    ///
    /// # Errors
    /// Where the folder is none, the port is taken, or no temporary files can be made.
    pub fn open(wish: &Wish) -> anyhow::Result<Self> {
        if !wish.folder.is_dir() {
            bail!("{} is no folder: make it first, or name another for the shelf", wish.folder.display());
        }
        let bind = if wish.let_in { Ipv4Addr::UNSPECIFIED } else { Ipv4Addr::LOCALHOST };
        let asked = SocketAddr::from((bind, wish.port.unwrap_or(0)));
        let listener = TcpListener::bind(asked).map_err(|e| {
            anyhow!("cannot serve on port {}: {e}; leave out --port to take a free one", asked.port())
        })?;
        let port = listener.local_addr().context("the address has no port")?.port();
        let mut hosts = vec![format!("127.0.0.1:{port}"), format!("localhost:{port}")];
        let mut addresses = vec![hosts[0].clone()];
        if wish.let_in {
            let here =
                own_address().context("this machine has no address in a network to let others in by")?;
            hosts.push(format!("{here}:{port}"));
            addresses.push(format!("{here}:{port}"));
        }
        let room = Arc::new(Room {
            guard: Guard::new(hosts, port).context("no random numbers for the key")?,
            folder: wish.folder.clone(),
            photos: Photos::new(wish.folder.clone())?,
            rider: ChosenRider::default(),
            rules: RuleSet::built_in()?,
        });
        Ok(Self { listener, room, addresses })
    }

    fn address(&self, host: &str) -> String {
        format!("http://{host}/?key={}", self.room.guard.key())
    }

    /// What is said when the desk is open.
    pub fn greeting(&self) -> String {
        let mut text = format!(
            "The desk is open at\n  {}\nPhotos stay on this machine; saddles are kept in {}. Press Ctrl-C to close it.",
            self.address(&self.addresses[0]),
            self.room.folder.display()
        );
        if let Some(other) = self.addresses.get(1) {
            text += &format!(
                "\nOther devices of this network are let in at\n  {}\nWhoever has this address can use the desk, and the \
                 connection is not encrypted: only in a network that you trust.",
                self.address(other)
            );
        }
        text
    }

    /// Opens the browser; where there is none the printed address serves.
    pub fn show(&self) {
        let program = if cfg!(target_os = "macos") {
            "open"
        } else if cfg!(windows) {
            "explorer"
        } else {
            "xdg-open"
        };
        let quiet = std::process::Stdio::null;
        let opened = std::process::Command::new(program)
            .arg(self.address(&self.addresses[0]))
            .stdin(quiet())
            .stdout(quiet())
            .stderr(quiet())
            .spawn();
        if opened.is_err() {
            eprintln!("seatspan: no browser could be opened; open the address above in one");
        }
    }

    /// Answers until the program is interrupted, and then clears away the photos that lay on the desk.
    ///
    /// # Errors
    /// Where no interruption can be listened for.
    pub fn serve(self) -> anyhow::Result<()> {
        let room = self.room.clone();
        ctrlc::set_handler(move || {
            room.photos.clear_away();
            std::process::exit(0);
        })
        .context("cannot listen for an interruption")?;
        let room = self.room.clone();
        std::thread::spawn(move || room.photos.work());
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .max_blocking_threads(HANDS)
            .enable_all()
            .build()
            .context("the desk cannot begin to answer")?;
        runtime
            .block_on(connections::answering(self.listener, self.room))
            .context("the desk cannot answer any more")
    }
}

/// This machine's address in its network: the one from which it would speak to an address outside (TEST-NET-1, RFC 5737).
/// Nothing is sent.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    socket.local_addr().ok().map(|a| a.ip())
}
