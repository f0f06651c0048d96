//! The program under strace: it never writes to the port. Run by name, since strace must be there:
//! `cargo test --test traced`.

#![allow(clippy::disallowed_methods)] // the test waits for another process by the clock

#[allow(dead_code)] // what one target does not need, the other does
#[path = "aids.rs"]
mod aids;

use aids::{Adapter, Watch, frames, records};
use std::fs;
use std::process::Stdio;

/// strace's own record of every call that could send.
#[test]
fn nothing_is_ever_written_to_the_port() {
    let mut adapter = Adapter::plug_in();
    let port = adapter.port.to_str().unwrap().to_owned();
    let dir = tempfile::tempdir().unwrap();
    let trace = dir.path().join("trace").to_str().unwrap().to_owned();
    let calls = "trace=write,writev,pwrite64,pwritev,pwritev2,sendto,sendmsg,splice,sendfile,ioctl";
    let before = ["strace", "-f", "-y", "-o", &trace, "-e", calls];
    let mut watch = Watch::start_in(dir, &[&port, "--format", "json", "--for", "4"], Stdio::null(), &before);
    watch.wait_for("open, waiting for the first record");
    adapter.send(&[0]);
    adapter.send(&records(frames().take(100)));
    watch.ended();
    let said: serde_json::Value = serde_json::from_str(&watch.out()).unwrap();
    assert_eq!(said["input"]["decoded"], 100);
    let text = fs::read_to_string(&trace).unwrap();
    let device = fs::canonicalize(&port).unwrap();
    let on_port: Vec<&str> = text.lines().filter(|line| line.contains(&format!("<{}>", device.display()))).collect();
    assert!(on_port.iter().any(|line| line.contains("ioctl(")), "the trace is blind");
    let sent: Vec<_> = on_port.iter().filter(|line| !line.contains("ioctl(") || line.contains("TIOCSTI")).collect();
    assert!(sent.is_empty(), "{sent:?}");
}
