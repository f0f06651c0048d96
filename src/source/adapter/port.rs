//! The port of an adapter, held so that only the fixed set-up commands can be written to it.

use crate::wire::serial_can::SetUp;
use std::io;
use std::path::Path;
use std::pin::Pin;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, AsyncWriteExt, ReadBuf};
use tokio_serial::{SerialPort, SerialStream};

/// A serial-line CAN adapter. What can be said to it is [`SetUp`] and nothing else; it is no
/// [`tokio::io::AsyncWrite`]:
///
/// ```compile_fail
/// async fn send(port: &mut cellwright::source::adapter::AdapterPort) {
///     use tokio::io::AsyncWriteExt;
///     port.write_all(b"t1230\r").await.unwrap();
/// }
/// ```
///
/// ```
/// async fn listen(port: &mut cellwright::source::adapter::AdapterPort) -> std::io::Result<()> {
///     port.command(cellwright::wire::serial_can::SetUp::Listen).await
/// }
/// ```
#[derive(Debug)]
pub struct AdapterPort {
    port: SerialStream,
}

impl AdapterPort {
    /// Opens the port for ourselves alone at `rate` bit/s. To be called within a tokio runtime.
    ///
    /// # Errors
    /// What the library says: in use, not permitted, not there, no serial port.
    pub fn open(path: &Path, rate: u32) -> tokio_serial::Result<Self> {
        let builder = tokio_serial::new(path.to_string_lossy(), rate).dtr_on_open(false);
        SerialStream::open(&builder).map(|port| Self { port })
    }

    /// Says a set-up command.
    ///
    /// # Errors
    /// When the port has gone.
    pub async fn command(&mut self, command: SetUp) -> io::Result<()> {
        self.port.write_all(command.bytes()).await
    }

    /// Whether the port has gone, which some systems do not tell a reader who waits.
    #[must_use]
    pub fn is_gone(&self) -> bool {
        self.port.bytes_to_read().is_err()
    }
}

impl AsyncRead for AdapterPort {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.port).poll_read(cx, buffer)
    }
}
