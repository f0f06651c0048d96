//! The time of a row.

use crate::bank::table::TimeForm;
use crate::model::Stamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

/// Reads times as the bank file says they are written.
#[derive(Debug)]
pub(super) struct Times {
    form: TimeForm,
    zone: TimeZone,
    last: Option<Stamp>,
}

impl Times {
    pub(super) fn new(form: TimeForm, zone: TimeZone) -> Self {
        Self { form, zone, last: None }
    }

    /// The moment; none when it cannot be read.
    pub(super) fn read(&mut self, text: &str) -> Option<Stamp> {
        let stamp = match &self.form {
            TimeForm::Count { per_second, start } => {
                let count: f64 = text.replace(',', ".").parse().ok()?;
                let nanos = count / per_second * 1e9;
                let fits = nanos.is_finite() && nanos.abs() < 9e18;
                fits.then(|| start.plus_nanos(nanos as i64))?
            }
            TimeForm::Stamp { format } => self.stamp(text, format.as_deref())?,
        };
        self.last = Some(stamp);
        Some(stamp)
    }

    fn stamp(&self, text: &str, format: Option<&str>) -> Option<Stamp> {
        let Some(format) = format else {
            if let Ok(moment) = text.parse::<jiff::Timestamp>() {
                return moment_of(moment);
            }
            return self.local(text.parse().ok()?);
        };
        let parsed = jiff::fmt::strtime::parse(format, text).ok()?;
        if parsed.offset().is_some() {
            return moment_of(parsed.to_timestamp().ok()?);
        }
        self.local(parsed.to_datetime().ok()?)
    }

    /// A local time. In the hour that comes twice when summer ends, the second one once the first has passed.
    fn local(&self, time: DateTime) -> Option<Stamp> {
        let ambiguous = self.zone.to_ambiguous_timestamp(time);
        let earlier = moment_of(ambiguous.earlier().ok()?)?;
        let later = moment_of(ambiguous.later().ok()?)?;
        Some(if self.last.is_some_and(|last| earlier < last) { later } else { earlier })
    }
}

fn moment_of(moment: jiff::Timestamp) -> Option<Stamp> {
    i64::try_from(moment.as_nanosecond()).ok().map(Stamp::from_nanos)
}
