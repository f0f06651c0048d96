//! What a source tells beside its frames: whether its link is up, and how it is doing, each only when it changes.

use super::{Batch, Clock, Gone, Outlet, Status};
use crate::model::{Body, Stamp};
use std::sync::Arc;

/// A source's line to the program.
pub(super) struct Link {
    outlet: Outlet,
    clock: Arc<dyn Clock>,
    /// Link as last told.
    up: Option<bool>,
    said: Status,
}

impl Link {
    pub(super) fn new(outlet: Outlet, clock: Arc<dyn Clock>) -> Self {
        Self { outlet, clock, up: None, said: Status::default() }
    }

    /// The wall clock.
    pub(super) fn now(&self) -> Stamp {
        self.clock.now().wall
    }

    pub(super) async fn send(&self, items: Vec<(Stamp, Body)>) -> Result<(), Gone> {
        if items.is_empty() { Ok(()) } else { self.outlet.send(Batch { items, ..Batch::default() }).await }
    }

    pub(super) async fn set(&mut self, up: bool) -> Result<(), Gone> {
        if self.up.replace(up) == Some(up) {
            return Ok(());
        }
        self.send(vec![(self.now(), Body::Link { channel: 0, up })]).await
    }

    pub(super) async fn say(&mut self, status: Status) -> Result<(), Gone> {
        if status == self.said {
            return Ok(());
        }
        self.said = status.clone();
        self.outlet.say(status).await
    }
}
