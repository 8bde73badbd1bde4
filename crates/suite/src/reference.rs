//! The truth of a record as values: the events that a render writes beside the signal, at their exact times.

use pulsewright_core::frame::Channel;
use pulsewright_core::time::{FrameRate, Instant as PlayerInstant, TICKS_PER_SECOND};
use pulsewright_core::truth::{self, Event, Observer};
use pulsewright_files::truth::{episode_word, nearest_frame};
use pulsewright_score::annotations::{AnnotatedEpisode, EpisodeKind, TimeRange};
use pulsewright_score::record::Events;
use pulsewright_score::{AnnotatedBeat, Annotations, RecordInstant};

/// Collects the events of one kind, and for beats the episodes.
pub(crate) struct Reference {
    events: Events,
    rate: FrameRate,
    frames: u64,
    found: Vec<AnnotatedBeat>,
    /// Pressure of each pulse found.
    channels: Vec<&'static str>,
    episodes: Vec<AnnotatedEpisode>,
    running: Vec<(truth::Episode, RecordInstant)>,
}

impl Reference {
    /// For a record of `frames` frames.
    pub(crate) fn new(events: Events, rate: FrameRate, frames: u64) -> Reference {
        let (found, channels, episodes, running) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        Reference { events, rate, frames, found, channels, episodes, running }
    }

    /// The events with the end of the record; of pulses those of one channel.
    ///
    /// # Errors
    /// Pulses of several channels without one asked for, or none of that one.
    pub(crate) fn annotations(mut self, channel: Option<&str>) -> Result<Annotations, String> {
        self.keep(channel)?;
        let end = RecordInstant::from_frame(self.frames.try_into().unwrap_or(i64::MAX), f64::from(self.rate.as_hz()));
        // An episode that still runs ends with the record.
        let last = end.unwrap_or(RecordInstant::END);
        let running = std::mem::take(&mut self.running);
        running.into_iter().for_each(|(episode, from)| self.end_episode(episode, from, last));
        let mut all = Annotations::from_beats(self.found);
        // Also without a single beat: the truth knows the codes of all there are.
        all.labelled = self.events == Events::Beats;
        all.add_episodes(self.episodes);
        all.end = end;
        Ok(all)
    }

    /// Keeps the pulses of one channel.
    fn keep(&mut self, channel: Option<&str>) -> Result<(), String> {
        let mut met: Vec<&str> = Vec::new();
        for name in &self.channels {
            if !met.contains(name) {
                met.push(name);
            }
        }
        match channel {
            None if met.len() > 1 => Err(format!("events of more than one channel; choose one of {}", met.join(", "))),
            Some(_) if self.events != Events::Pulses => {
                Err("only pulses have a channel; leave \"channel\" out".to_owned())
            }
            Some(asked) if !met.is_empty() && !met.contains(&asked) => {
                Err(format!("no channel '{asked}'; channels are {}", met.join(", ")))
            }
            Some(asked) => {
                let mut names = self.channels.iter();
                self.found.retain(|_| names.next().is_some_and(|name| *name == asked));
                Ok(())
            }
            None => Ok(()),
        }
    }

    fn add(&mut self, at: PlayerInstant, code: char) {
        self.found.push(AnnotatedBeat { at: instant(at), code });
    }

    fn end_episode(&mut self, episode: truth::Episode, from: RecordInstant, to: RecordInstant) {
        // Truth of kinds that are not scored is passed over.
        if let Some(kind) = EpisodeKind::of_name(episode_word(episode)) {
            self.episodes.push(AnnotatedEpisode { kind, stretch: TimeRange { from, to } });
        }
    }
}

impl Observer for Reference {
    fn observe(&mut self, event: Event) {
        match (self.events, event) {
            (Events::Beats, Event::Beat(beat)) if nearest_frame(beat.peak, self.rate) < self.frames => {
                self.add(beat.peak, beat.code.symbol());
            }
            (Events::Beats, Event::Episode { episode, at, starts: true }) => {
                self.running.push((episode, instant(at)));
            }
            (Events::Beats, Event::Episode { episode, at, starts: false }) => {
                if let Some(place) = self.running.iter().position(|running| running.0 == episode) {
                    let (_, from) = self.running.remove(place);
                    self.end_episode(episode, from, instant(at));
                }
            }
            (Events::Breaths, Event::Breath(breath)) => self.add(breath.start, 'N'),
            (Events::Pulses, Event::Pulse(pulse)) => {
                self.channels.push(Channel::Pressure(pulse.site).id());
                self.add(pulse.foot, 'N');
            }
            _ => {}
        }
    }
}

/// A time of the player in the ticks of scores, to the nearest.
fn instant(at: PlayerInstant) -> RecordInstant {
    RecordInstant::from_fraction(at.ticks(), TICKS_PER_SECOND).unwrap_or(RecordInstant::END)
}

#[cfg(test)]
mod tests {
    use crate::plan::SuitePlan;
    use pulsewright_score::read::{ReadOptions, read_annotations};
    use pulsewright_score::{Annotations, RecordInstant};

    fn plan(events: &str, rhythms: &str) -> SuitePlan {
        let channel = if events == "pulses" { r#", "channel": "arterial""# } else { "" };
        let text = format!(
            r#"{{"version": 1, "duration_s": 12, "channels": ["II", "arterial", "respiration"],
                "score": {{"events": "{events}", "learning_s": 0{channel}}}, "blocks": [{{"rhythm": [{rhythms}], "seed": [3], "set": {{"breathing.rate_per_min": [17]}}}}]}}"#
        );
        SuitePlan::parse(&text, "plan").unwrap()
    }

    fn apart_us(one: RecordInstant, other: RecordInstant) -> f64 {
        one.distance(other).s() * 1e6
    }

    /// The truth that a render writes, six decimals of a second.
    fn written(plan: &SuitePlan, record: usize, table: &str, times_only: bool) -> Annotations {
        let folder = tempfile::tempdir().unwrap();
        plan.records[record].render_file(plan, &folder.path().join("r.wav"), true).unwrap();
        let reading = ReadOptions { times_only, channel: plan.pulse_channel.clone(), ..ReadOptions::default() };
        read_annotations(&folder.path().join(format!("r.{table}.csv")), &reading).unwrap()
    }

    #[test]
    fn the_values_are_the_tables_before_they_are_rounded() {
        for (events, rhythms) in [
            ("beats", r#""atrial-fibrillation", "ventricular-bigeminy", "ventricular-fibrillation", "asystole""#),
            ("pulses", r#""atrial-fibrillation""#),
            ("breaths", r#""sinus""#),
        ] {
            let plan = plan(events, rhythms);
            let mut exact = 0;
            for (index, record) in plan.records.iter().enumerate() {
                let ours = record.reference(&plan).unwrap();
                let table = written(&plan, index, events, events != "beats");
                assert_eq!(ours.beats.len(), table.beats.len(), "{}", record.name);
                for (one, other) in ours.beats.iter().zip(&table.beats) {
                    let apart = apart_us(one.at, other.at);
                    assert!(one.code == other.code && apart <= 0.502, "{}: {apart} us", record.name);
                    exact += usize::from(apart > 0.01);
                }
                assert_eq!(ours.labelled, events == "beats");
                assert_eq!(ours.episodes.len(), table.episodes.len(), "{}", record.name);
                for (one, other) in ours.episodes.iter().zip(&table.episodes) {
                    assert!(one.kind == other.kind && apart_us(one.stretch.from, other.stretch.from) <= 0.502);
                    assert!(apart_us(one.stretch.to, other.stretch.to) <= 0.502);
                }
                assert_eq!(ours.end, RecordInstant::from_s(12.0));
            }
            assert!(exact > 1, "{events}: the times are those of the tables, rounded");
        }
    }

    /// The pressures of the signal alone have pulses, so one needs no name.
    #[test]
    fn one_pressure_needs_no_name() {
        for channel in ["arterial", "pulmonary", "left-atrium"] {
            let text = format!(
                r#"{{"version": 1, "duration_s": 12, "channels": ["II", "{channel}"],
                    "score": {{"events": "pulses", "learning_s": 0}}, "blocks": [{{"rhythm": ["sinus"]}}]}}"#
            );
            let plan = SuitePlan::parse(&text, "plan").unwrap();
            let found = plan.records[0].reference(&plan).unwrap().beats.len();
            assert_eq!(found, written(&plan, 0, "pulses", true).beats.len(), "{channel}");
        }
    }

    #[test]
    fn pulses_of_several_pressures_do_not_mix() {
        let text = r#"{"version": 1, "duration_s": 12, "channels": ["arterial", "pulmonary"],
            "score": {"events": "pulses", "learning_s": 0CHANNEL}, "blocks": [{"rhythm": ["sinus"]}]}"#;
        let plan = |channel: &str| SuitePlan::parse(&text.replace("CHANNEL", channel), "plan").unwrap();
        let all = plan("");
        let refused = all.records[0].reference(&all).unwrap_err().to_string();
        assert!(refused.contains("more than one channel; choose one of"), "{refused}");
        let one = plan(r#", "channel": "arterial""#);
        let found = one.records[0].reference(&one).unwrap();
        assert!((9..=16).contains(&found.beats.len()), "{}", found.beats.len());
        let none = plan(r#", "channel": "wedge-of-cheese""#);
        assert!(none.records[0].reference(&none).unwrap_err().to_string().contains("no channel 'wedge-of-cheese'"));
    }
}
