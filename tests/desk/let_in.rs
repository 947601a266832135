//! `--let-in`: access from the network with the key only, and none without the option.

use std::io::{Read, Write};
use std::net::TcpStream;

use super::served::Desk;

/// The status of a request from the network; `None` where nothing listens.
fn asked(desk: &Desk, host: &str, key: &str) -> Option<u16> {
    let mut stream = TcpStream::connect(host).ok()?;
    write!(
        stream,
        "GET /api/photos HTTP/1.0\r\nHost: {host}\r\nCookie: seatspan-{}={key}\r\nConnection: close\r\n\r\n",
        desk.port
    )
    .unwrap();
    let mut said = String::new();
    stream.read_to_string(&mut said).unwrap();
    said.split(' ').nth(1)?.parse().ok()
}

#[test]
fn other_devices_need_the_option_and_the_key() {
    let Some(desk) = Desk::start_with(&["--let-in"]) else {
        println!("skipped: this machine has no address in a network");
        return;
    };
    let addresses: Vec<&str> =
        desk.greeting.lines().filter_map(|l| l.trim().strip_prefix("http://")).collect();
    let [_, other] = addresses[..] else { panic!("{}", desk.greeting) };
    let host = other.split('/').next().unwrap();
    assert!(desk.greeting.contains("not encrypted"), "{}", desk.greeting);
    assert!(!host.starts_with("127."), "{host}");
    assert_eq!(asked(&desk, host, desk.key()), Some(200));
    assert_eq!(asked(&desk, host, "0"), Some(403));
    assert_eq!(asked(&desk, &desk.host(), desk.key()), Some(200), "this machine is admitted as well");

    let shut = Desk::start();
    let there = format!("{}:{}", host.rsplit_once(':').unwrap().0, shut.port);
    assert_eq!(asked(&shut, &there, shut.key()), None, "nothing listens there");
}
