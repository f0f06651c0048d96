//! `survey`: an unknown bus, from a log or live, into what was found on it.

use super::clock::SystemClock;
use super::live::Said;
use super::progress::Progress;
use super::watch::sources::{self, Source};
use super::watch::{stop_on_signals, tell};
use super::{Exit, logs, output, setup};
use crate::config::{SurveyArgs, SurveyFormat};
use crate::decode::{Decoder, Settings};
use crate::model::{Body, Input};
use crate::report::{survey_json, survey_text};
use crate::source::{Clock, Kind, Merge};
use crate::survey::{Known, Survey, beside, draft};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Inputs between two looks at how far it has come.
const LOOK_EVERY: u64 = 1 << 14;
/// How long is waited for a live source before the clock is looked at.
const TURN: Duration = Duration::from_millis(200);
/// A live source is listened to for this long unless told, seconds.
const LISTEN_SECS: f64 = 3600.0;

/// What listens: the survey, and the decoder that says whether the bus is known already.
struct Ears {
    survey: Survey,
    decoder: Decoder,
    inputs: u64,
}

/// Surveys a log or a source and prints what was found.
pub(super) fn survey(args: &SurveyArgs) -> anyhow::Result<Exit> {
    let file = args.bank.as_deref().map(setup::bank_file).transpose()?;
    let mut ears = Ears { survey: Survey::new(), decoder: Decoder::new(Settings::default()), inputs: 0 };
    let sources = sources::named(std::slice::from_ref(&args.source), args.ports)?;
    let is_log = sources.iter().all(|source| source.kind() == Kind::Stamped);
    if args.duration.is_none() && is_log {
        of_log(&mut ears, PathBuf::from(&args.source))?;
    } else {
        of_source(&mut ears, &sources, args.duration.unwrap_or(LISTEN_SECS))?;
    }
    let described = file.iter().flat_map(|file| &file.bank.packs).find_map(|pack| pack.rated.capacity);
    let known = Known { capacity: args.capacity.or(described.map(|amp_hours| amp_hours.get())), celsius: args.celsius };
    let found = ears.survey.find(&known);
    let rows = file.as_ref().map(|file| file.map().map_or_else(Vec::new, |map| beside(&found, &map)));
    let heard: BTreeSet<String> =
        ears.decoder.buses().iter().flat_map(|bus| &bus.dialects).map(ToString::to_string).collect();
    let dialects: Vec<&str> = heard.iter().map(String::as_str).collect();
    output::print(&match args.format {
        SurveyFormat::Text => survey_text(&found, &dialects, rows.as_deref()),
        SurveyFormat::Json => survey_json(&found, &dialects, rows.as_deref()),
        SurveyFormat::Draft => draft(&found, &known),
    })?;
    Ok(if found.roles.is_empty() { Exit::NotKnown } else { Exit::Clear })
}

fn of_log(ears: &mut Ears, path: PathBuf) -> anyhow::Result<()> {
    let mut reader = logs::open(&[path])?;
    let mut progress = Progress::new("listening");
    while let Some(input) = reader.next()? {
        ears.hear(&input);
        if ears.inputs.is_multiple_of(LOOK_EVERY) {
            let (done, total) = reader.progress();
            progress.show(done, total);
        }
    }
    if ears.inputs == 0
        && let Some(why) = logs::not_a_log(&reader)
    {
        anyhow::bail!(why);
    }
    Ok(())
}

fn of_source(ears: &mut Ears, sources: &[Source], secs: f64) -> anyhow::Result<()> {
    if let Some(missing) = sources.iter().find_map(sources::missing_interface) {
        anyhow::bail!(
            "there is no CAN interface '{missing}' now; 'cellwright watch' without a source lists what can be listened to"
        );
    }
    let clock: Arc<dyn Clock> = Arc::new(SystemClock);
    let stop = stop_on_signals()?;
    let batches = sources::start(sources, &clock)?;
    let kinds: Vec<_> = sources.iter().map(Source::kind).collect();
    let begun = clock.now();
    let mut merge = Merge::new(begun, &kinds);
    let mut progress = Progress::new("listening");
    let spent = |now: i64| (now - begun.steady) as f64 * 1e-9;
    while !stop.load(Ordering::Relaxed) && !merge.is_over() && spent(clock.now().steady) < secs {
        let first = batches.recv_timeout(TURN).ok();
        let now = clock.now();
        merge.look(now);
        for mut batch in first.into_iter().chain(batches.try_iter()) {
            if let Some(status) = batch.status.take() {
                progress.clear();
                tell(&Said::Source(usize::from(batch.source), status));
            }
            merge.take(batch, now);
        }
        merge.release(now, |input, _| ears.hear(input));
        progress.show(spent(now.steady) as u64, Some(secs as u64));
    }
    merge.finish(clock.now(), |input, _| ears.hear(input));
    Ok(())
}

impl Ears {
    fn hear(&mut self, input: &Input) {
        self.inputs += 1;
        if let Body::Frame(frame) = &input.body {
            self.survey.push(input.stamp, frame);
            self.decoder.frame(input.stamp, frame, |_, _| {});
        }
    }
}
