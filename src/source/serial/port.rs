//! The port, held so that nothing can be written to it.

use std::io;
use std::path::Path;
use std::pin::Pin;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, ReadBuf};
use tokio_serial::{SerialPort, SerialStream};

/// A serial port that can only be read. It is no [`tokio::io::AsyncWrite`], and there is no way to what it holds:
///
/// ```compile_fail
/// async fn send(port: &mut cellwright::source::serial::ListenOnly) {
///     use tokio::io::AsyncWriteExt;
///     port.write_all(b"x").await.unwrap();
/// }
/// ```
///
/// ```compile_fail
/// fn descriptor(port: &cellwright::source::serial::ListenOnly) -> std::os::fd::RawFd {
///     std::os::fd::AsRawFd::as_raw_fd(port)
/// }
/// ```
///
/// ```
/// async fn listen(port: &mut cellwright::source::serial::ListenOnly) -> std::io::Result<u8> {
///     use tokio::io::AsyncReadExt;
///     port.read_u8().await
/// }
/// ```
#[derive(Debug)]
pub struct ListenOnly {
    port: SerialStream,
}

impl ListenOnly {
    /// Opens a port for ourselves alone, at `rate` bit/s, eight bits, no parity, its control lines left alone as far
    /// as the kernel lets us. To be called within a tokio runtime.
    ///
    /// # Errors
    /// What the library says: in use, not permitted, not there, no serial port.
    pub fn open(path: &Path, rate: u32) -> tokio_serial::Result<Self> {
        let builder = tokio_serial::new(path.to_string_lossy(), rate).dtr_on_open(false);
        SerialStream::open(&builder).map(|port| Self { port })
    }

    /// Sets another rate, bit/s.
    ///
    /// # Errors
    /// When the port does not have it.
    pub fn set_rate(&mut self, rate: u32) -> tokio_serial::Result<()> {
        self.port.set_baud_rate(rate)
    }

    /// Whether the port has gone, which some systems do not tell a reader who waits.
    #[must_use]
    pub fn is_gone(&self) -> bool {
        self.port.bytes_to_read().is_err()
    }
}

impl AsyncRead for ListenOnly {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.port).poll_read(cx, buffer)
    }
}
