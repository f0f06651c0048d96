//! The bank file of a run: named for it, or found in its recording.

use super::{Pipeline, Setup};
use crate::bank::{self, BankFile};
use crate::model::limits::Limits;
use crate::wire::reserved::digest;
use std::sync::Arc;

/// A bank file as a recording holds it: every signal written out.
#[derive(Debug, Clone, PartialEq)]
pub struct Filed {
    /// What it says.
    pub file: Arc<BankFile>,
    /// Its text, without need of a DBC.
    pub text: Arc<str>,
    /// Checksum of the text.
    pub digest: u64,
}

/// Where the bank file in force comes from.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum FiledFrom {
    /// There is none.
    #[default]
    Nothing,
    /// It was named for the run.
    Told,
    /// It was named for the run, and the recording holds another, which is not used.
    ToldInstead,
    /// The recording holds it.
    Recorded,
    /// The recording holds one that cannot be read, for this reason.
    Broken(String),
}

impl Filed {
    /// The file as a recording holds it: what is read back is what is used.
    ///
    /// # Errors
    /// When it is too large once every signal is written out.
    pub fn new(file: &BankFile) -> Result<Self, bank::BankError> {
        Self::read(&bank::write(file))
    }

    /// Reads what a recording holds.
    ///
    /// # Errors
    /// What is wrong with it, with the line.
    pub fn read(text: &str) -> Result<Self, bank::BankError> {
        let file = bank::parse(text, |_| Err("a recording holds no DBC".to_owned()))?;
        Ok(Self { digest: digest(text), text: text.into(), file: Arc::new(file) })
    }
}

impl Setup {
    /// The same with a bank file. A limit that was set otherwise already, and a dialect that was told, stay.
    #[must_use]
    pub fn with(&self, filed: Filed) -> Self {
        let file = Arc::clone(&filed.file);
        let (usual, mut limits) = (Limits::default(), self.limits.clone());
        for (name, number) in &file.limits {
            if limits.named(name) == usual.named(name) {
                let _ = limits.set(name, *number); // its bounds were looked at when the file was read
            }
        }
        Self {
            limits,
            bank: Some(file.bank.clone()).filter(|bank| !bank.packs.is_empty()),
            map: file.map(),
            dialect: self.dialect.or(file.dialect),
            reversed: file.reversed,
            instances: file.instances.clone(),
            counters: file.counters(),
            events: file.events.clone(),
            filed: Some(filed),
        }
    }
}

impl Pipeline {
    /// Where the bank file in force comes from.
    #[must_use]
    pub fn filed_from(&self) -> &FiledFrom {
        &self.filed
    }

    /// Whether a bank file was named for the run, so that one in a recording is not taken.
    #[must_use]
    pub fn is_told_its_file(&self) -> bool {
        matches!(self.filed, FiledFrom::Told | FiledFrom::ToldInstead)
    }

    /// The bank file in force.
    #[must_use]
    pub fn filed(&self) -> Option<&Filed> {
        self.setup.filed.as_ref()
    }

    /// Takes the bank file of a recording, unless another was named for the run.
    #[cold]
    pub(super) fn bank_file(&mut self, digest: u64, text: &str) {
        if self.setup.filed.as_ref().is_some_and(|filed| filed.digest == digest) || text.is_empty() {
            return;
        }
        if self.is_told_its_file() {
            self.filed = FiledFrom::ToldInstead;
            return;
        }
        match Filed::read(text) {
            Ok(filed) => self.take(filed),
            Err(error) => self.filed = FiledFrom::Broken(error.to_string()),
        }
    }

    fn take(&mut self, filed: Filed) {
        let setup = self.base.with(filed);
        self.decoder = setup.decoder();
        self.engine.describe(setup.limits.clone(), setup.bank.clone());
        self.engine.history(setup.events.clone());
        self.setup = Arc::new(setup);
        self.filed = FiledFrom::Recorded;
    }

    /// The text that a saved state needs: none when the run was started with it.
    pub(super) fn recorded_text(&self) -> Option<&str> {
        self.filed().filter(|_| self.filed == FiledFrom::Recorded).map(|filed| &*filed.text)
    }

    /// This pipeline with the bank file of a saved state, or none.
    pub(super) fn refiled(&self, text: Option<&str>) -> Result<Self, bank::BankError> {
        let mut fresh = self.clone();
        match text {
            Some(text) if self.recorded_text() != Some(text) => fresh.take(Filed::read(text)?),
            None if self.filed == FiledFrom::Recorded => fresh = Self::new((*self.base).clone()),
            _ => {}
        }
        Ok(fresh)
    }
}
