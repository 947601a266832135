//! The desk: a local page with a small JSON interface (`docs/desk.md`). It measures through the same pipeline as the
//! command line; the page itself computes nothing.

mod assets;
mod by_hand;
mod drawing;
mod edits;
mod guard;
mod item;
mod keep;
mod lens;
mod lock;
mod open_photo;
mod papers;
mod photos;
mod request;
mod response;
mod rider;
mod routes;
mod server;
mod shelf;
mod stage;

use std::io::Write as _;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};

use anyhow::{Context, anyhow, bail};
use tempfile::TempPath;

use crate::fit::rule::RuleSet;
use guard::Guard;
use lock::locked;
use photos::Photos;
use rider::ChosenRider;

/// Options of the desk.
#[derive(Debug, Clone)]
pub struct DeskOptions {
    /// The shelf's folder, the only one that is written.
    pub folder: PathBuf,
    /// The port; a free one by default.
    pub port: Option<u16>,
    /// Whether other devices of the network are admitted.
    pub let_in: bool,
}

/// A desk that listens on its port.
pub struct DeskServer {
    listener: TcpListener,
    desk: Arc<Desk>,
    hosts: Vec<String>,
}

/// What every request works with.
struct Desk {
    guard: Guard,
    folder: PathBuf,
    photos: Photos,
    rider: ChosenRider,
    rules: RuleSet,
    /// The file that sends the browser to the desk, until it has.
    redirect: Mutex<Option<TempPath>>,
}

/// Requests handled at a time: a page asks for pictures, progress and a width at once.
const WORKERS: usize = 6;

impl DeskServer {
    /// Takes the port.
    ///
    /// # Errors
    /// A folder that does not exist, a port in use, no temporary files.
    pub fn bind(options: &DeskOptions) -> anyhow::Result<Self> {
        let folder = options.folder.clone();
        if !folder.is_dir() {
            bail!("{} is not a folder; create it first, or name another", folder.display());
        }
        let address = if options.let_in { Ipv4Addr::UNSPECIFIED } else { Ipv4Addr::LOCALHOST };
        let asked = SocketAddr::from((address, options.port.unwrap_or(0)));
        let listener = TcpListener::bind(asked).map_err(|e| {
            anyhow!("cannot serve on port {}: {e}; leave out --port to use a free one", asked.port())
        })?;
        let port = listener.local_addr().context("the address has no port")?.port();
        let mut hosts = vec![format!("127.0.0.1:{port}")];
        if options.let_in {
            let own = own_address().context("this machine has no address in a network")?;
            hosts.push(format!("{own}:{port}"));
        }
        let names = hosts.iter().cloned().chain([format!("localhost:{port}")]).collect();
        let desk = Arc::new(Desk {
            guard: Guard::new(names, port).context("no random numbers for the key")?,
            photos: Photos::new(folder.clone())?,
            folder,
            rider: ChosenRider::default(),
            rules: RuleSet::built_in()?,
            redirect: Mutex::default(),
        });
        Ok(Self { listener, desk, hosts })
    }

    fn address(&self, host: &str) -> String {
        format!("http://{host}/?key={}", self.desk.guard.key())
    }

    /// What is printed when the desk is open.
    pub fn greeting(&self) -> String {
        let mut text = format!(
            "The desk is open at\n  {}\nPhotos stay on this machine; saddles are kept in {}. Press Ctrl-C to close it.",
            self.address(&self.hosts[0]),
            self.desk.folder.display()
        );
        if let Some(other) = self.hosts.get(1) {
            text += &format!(
                "\nOther devices of this network can open it at\n  {}\nAnyone with this address can use the desk, and the \
                 connection is not encrypted: use it only in a network that you trust.",
                self.address(other)
            );
        }
        text
    }

    /// Opens the browser; without one the printed address serves.
    pub fn open_browser(&self) {
        if self.redirect_file().and_then(open::that_detached).is_err() {
            eprintln!("seatspan: no browser could be opened; open the address above in one");
        }
    }

    /// A page that leads to the desk, readable by this user alone: the browser's command line, where the key would
    /// otherwise stand, is visible to every user of the machine. It is in the shelf's folder, since a sandboxed
    /// browser sees no temporary files of other programs.
    fn redirect_file(&self) -> std::io::Result<PathBuf> {
        let mut builder = tempfile::Builder::new();
        builder.prefix("open-desk-").suffix(".html");
        let mut file = builder.tempfile_in(&self.desk.folder).or_else(|_| builder.tempfile())?;
        let address = self.address(&self.hosts[0]);
        write!(
            file,
            "<!doctype html><title>seatspan desk</title><meta http-equiv=\"refresh\" content=\"0;url={address}\">"
        )?;
        let path = file.into_temp_path();
        let place = path.to_path_buf();
        *locked(&self.desk.redirect) = Some(path);
        Ok(place)
    }

    /// Serves until the program is interrupted, then removes the photos' temporary files.
    ///
    /// # Errors
    /// Where interruptions cannot be caught or the runtime cannot start.
    pub fn serve(self) -> anyhow::Result<()> {
        let desk = self.desk.clone();
        ctrlc::set_handler(move || {
            desk.photos.clear_away();
            desk.remove_redirect();
            std::process::exit(0);
        })
        .context("cannot catch an interruption")?;
        let desk = self.desk.clone();
        std::thread::spawn(move || desk.photos.work());
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .max_blocking_threads(WORKERS)
            .enable_all()
            .build()
            .context("the desk cannot start")?;
        runtime.block_on(server::serve(self.listener, self.desk)).context("the desk had to stop")
    }
}

impl Desk {
    fn remove_redirect(&self) {
        *locked(&self.redirect) = None;
    }
}

/// This machine's address in its network: the source address of a packet to TEST-NET-1 (RFC 5737). Nothing is sent.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    socket.local_addr().ok().map(|a| a.ip())
}
