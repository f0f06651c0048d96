//! The socket, held so that nothing can be written to it.

use super::parse;
use crate::model::{Frame, NANOS_PER_SEC, Stamp};
use nix::cmsg_space;
use nix::sys::socket::{ControlMessageOwned, MsgFlags, recvmsg, setsockopt, sockopt};
use socketcan::{CanFdSocket, Socket, SocketOptions};
use std::io::{self, IoSliceMut};
use std::os::fd::AsRawFd;
use tokio::io::Interest;
use tokio::io::unix::AsyncFd;

/// Receive buffer asked for, bytes; an ordinary user gets at most `net.core.rmem_max`.
const BUFFER: usize = 4 << 20;
/// `SO_MEMINFO` and the place of the drop count in it (Linux, linux/sock_diag.h).
const MEMINFO: i32 = 55;
const MEMINFO_DROPS: usize = 8;
/// `SOL_SOCKET` (Linux, asm-generic/socket.h).
const SOL_SOCKET: i32 = 1;

/// A frame, or an error alone: the link went down, the interface is gone.
const WAKES: Interest = Interest::READABLE.add(Interest::ERROR);

/// What one receive gave.
#[derive(Debug, Clone, Copy)]
pub struct Received {
    /// The frame; none for a message that is no frame of CAN or CAN FD.
    pub frame: Option<Frame>,
    /// When the kernel got it.
    pub stamp: Option<Stamp>,
    /// Frames that this socket has lost since it was opened.
    pub dropped: Option<u32>,
}

/// A CAN socket that can only be read. There is no way to the descriptor and none to write:
///
/// ```compile_fail
/// async fn send(socket: &cellwright::source::can::ListenOnly, frame: &socketcan::CanFrame) {
///     use socketcan::Socket;
///     socket.write_frame(frame).unwrap();
/// }
/// ```
///
/// ```compile_fail
/// fn descriptor(socket: &cellwright::source::can::ListenOnly) -> std::os::fd::RawFd {
///     std::os::fd::AsRawFd::as_raw_fd(socket)
/// }
/// ```
///
/// ```
/// async fn listen(socket: &mut cellwright::source::can::ListenOnly) -> std::io::Result<usize> {
///     socket.receive(1, |_| ()).await
/// }
/// ```
pub struct ListenOnly {
    socket: AsyncFd<CanFdSocket>,
    index: u32,
    control: Vec<u8>,
}

impl ListenOnly {
    /// Opens an interface, up or down. To be called within a tokio runtime.
    ///
    /// # Errors
    /// What the system says: `ENODEV` when there is no such interface.
    pub fn open(name: &str) -> io::Result<Self> {
        let index = nix::net::if_::if_nametoindex(name)?;
        let socket = CanFdSocket::open(name)?;
        socket.set_nonblocking(true)?;
        socket.set_error_filter_accept_all()?;
        socket.set_loopback(false)?; // of what this socket sends, which is nothing
        setsockopt(&socket, sockopt::ReceiveTimestampns, &true)?;
        setsockopt(&socket, sockopt::RxqOvfl, &1)?;
        let _ = setsockopt(&socket, sockopt::RcvBuf, &BUFFER); // what is granted is granted
        let control = cmsg_space!(nix::sys::time::TimeSpec, u32);
        #[allow(deprecated)]
        // its warning is for types that may close their descriptor early; this one holds it to the end
        let socket = AsyncFd::with_interest(socket, WAKES)?;
        Ok(Self { socket, index, control })
    }

    /// The kernel's number of the interface; another one after unplugging.
    #[must_use]
    pub fn index(&self) -> u32 {
        self.index
    }

    /// Waits for something to read, be it an error, and takes all that is ready, at most `most`: frames with their
    /// stamps and the count of the lost, or `ENETDOWN` once when the link went down, or `ENODEV` once when the
    /// interface is gone. Returns how many there were.
    ///
    /// # Errors
    /// When the descriptor cannot be waited for.
    pub async fn receive(&mut self, most: usize, mut each: impl FnMut(io::Result<Received>)) -> io::Result<usize> {
        let Self { socket, control, .. } = self;
        let mut ready = socket.ready(WAKES).await?;
        for count in 0..most {
            match receive_from(socket.get_ref(), control) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {
                    ready.clear_ready();
                    return Ok(count);
                }
                other => each(other),
            }
        }
        Ok(most)
    }

    /// Frames that this socket has lost since it was opened, also when none came after them.
    #[must_use]
    pub fn dropped(&self) -> Option<u32> {
        let mut info = [0; 4 * (MEMINFO_DROPS + 1)];
        self.socket.get_ref().get_socket_option_bytes(SOL_SOCKET, MEMINFO, &mut info).ok()?;
        info.last_chunk().copied().map(u32::from_ne_bytes)
    }
}

fn receive_from(socket: &CanFdSocket, control: &mut [u8]) -> io::Result<Received> {
    let mut bytes = [0; parse::MOST];
    let mut slices = [IoSliceMut::new(&mut bytes)];
    let message = recvmsg::<()>(socket.as_raw_fd(), &mut slices, Some(control), MsgFlags::MSG_DONTWAIT)?;
    let len = message.bytes;
    let (mut stamp, mut dropped) = (None, None);
    for part in message.cmsgs()? {
        match part {
            ControlMessageOwned::ScmTimestampns(time) => {
                let nanos = time.tv_sec().saturating_mul(NANOS_PER_SEC).saturating_add(time.tv_nsec());
                stamp = Some(Stamp::from_nanos(nanos));
            }
            ControlMessageOwned::RxqOvfl(count) => dropped = Some(count),
            _ => {}
        }
    }
    Ok(Received { frame: parse::frame(bytes.get(..len).unwrap_or_default()), stamp, dropped })
}
