//! Live playing: the script's steps in their time, changed by commands; every step is logged as it was played.

use crate::command::Command;
use bumpalo::Bump;
use pulsewright_core::body::ADULT;
use pulsewright_core::frame::Frame;
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::recording::RecordedNoise;
use pulsewright_core::script::{MIN_STEP, Ramp, Script, Series as CoreSeries, Step as CoreStep, TimedBeat};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_core::timeline::Timeline;
use pulsewright_core::truth::{Event, Observer};
use pulsewright_script::{Document, DocumentStep, StepRecording};

/// The next beat is looked for this far ahead; without one, a command takes effect at once.
const AHEAD: Span = Span::secs(3);

/// A step that was, is, or will be played.
#[derive(Clone, Debug)]
struct Scheduled {
    step: DocumentStep,
    start: Instant,
    /// Whether a command made it.
    by_command: bool,
}

/// Plays a document's steps, and those that commands put in their place.
///
/// A step made by a command holds until the next command. The steps as played make a [`LivePlayer::log`].
#[derive(Debug)]
pub struct LivePlayer<'a> {
    arena: &'a Bump,
    document: &'a Document,
    timeline: Timeline<'a>,
    player: Player<'a>,
    rate: FrameRate,
    /// The steps that have started, in order; the last is being played.
    played: Vec<Scheduled>,
    /// The step that the player plays next.
    next: Option<Scheduled>,
    /// The script's next step, put off by a command.
    put_off: Option<DocumentStep>,
}

impl<'a> LivePlayer<'a> {
    /// At the start of a script that was made of `document`.
    ///
    /// Steps that commands make live in `arena`.
    pub fn new(
        arena: &'a Bump,
        document: &'a Document,
        script: &Script<'a>,
        chosen: SiteSet,
        rate: FrameRate,
    ) -> LivePlayer<'a> {
        let player = Player::new(script, rate).with_pressures_at(chosen);
        let mut live = LivePlayer {
            arena,
            document,
            timeline: script.timeline(),
            player,
            rate,
            played: Vec::new(),
            next: None,
            put_off: None,
        };
        live.follow(Instant::ZERO);
        live
    }

    /// Index of the next frame.
    pub fn position(&self) -> u64 {
        self.player.position()
    }

    /// Fills frames, at most [`LivePlayer::block`] of them, and returns how many; 0 once the script has ended.
    pub fn fill(&mut self, frames: &mut [Frame]) -> usize {
        self.fill_observed(frames, &mut |_| ())
    }

    /// As [`LivePlayer::fill`], and hands every event up to the last frame to `observe`.
    pub fn fill_observed(&mut self, frames: &mut [Frame], observe: &mut dyn FnMut(Event)) -> usize {
        if self.ended() {
            return 0;
        }
        let mut start = Start { played: &mut self.played, next: &mut self.next, observe };
        let mut filled = self.player.fill_observed(frames, &mut start);
        if let Some(end) = self.end() {
            // A step without a follower ends the script: frames that the player filled after it do not count.
            let count = self.rate.frame_at_or_after(end);
            let first = self.position() - filled as u64;
            filled = filled.min(count.saturating_sub(first) as usize);
        }
        let last = self.played.last().filter(|_| self.next.is_none());
        if let Some(end) = last.and_then(|scheduled| Some(scheduled.start.plus(scheduled.step.duration?))) {
            self.follow(end);
        }
        filled
    }

    /// Most frames that may be filled at a time: every step is longer.
    pub fn block(&self) -> usize {
        (self.rate.as_hz() / 1000).max(1) as usize
    }

    /// Whether the script has come to its end and no command has come since.
    pub fn ended(&self) -> bool {
        self.end().is_some_and(|end| self.rate.frame_at_or_after(end) <= self.position())
    }

    /// When the last step ends, if none follows it.
    fn end(&self) -> Option<Instant> {
        let last = self.played.last()?;
        match (&self.next, last.step.duration) {
            (None, Some(duration)) if self.put_off.is_none() && self.script_is_over() => {
                Some(last.start.plus(duration))
            }
            _ => None,
        }
    }

    fn script_is_over(&self) -> bool {
        self.timeline.clone().next().is_none()
    }

    /// Lets the script's next step start at `start`.
    fn follow(&mut self, start: Instant) {
        let next = self.put_off.take().or_else(|| self.scripted());
        if let Some(step) = next {
            self.play_next(step, start, false);
        }
    }

    /// The script's next step; a step that holds lasts until the next one is asked for.
    fn scripted(&mut self) -> Option<DocumentStep> {
        let placed = self.timeline.next()?;
        if placed.step.duration().is_none() {
            // A later command decides when the step after it starts.
            self.timeline.resume_at(placed.start);
        }
        self.document.step(placed.item).cloned()
    }

    fn play_next(&mut self, step: DocumentStep, start: Instant, by_command: bool) {
        let ramps = self.arena.alloc_slice_copy(&step.ramps);
        let beats = self.arena.alloc_slice_copy(&step.beats);
        let series = step
            .series
            .as_ref()
            .map(|series| CoreSeries { beats: self.arena.alloc_slice_copy(&series.beats), length: series.length });
        let recording = step.recording.as_ref().map(StepRecording::item);
        let noise: Option<&'a RecordedNoise<'a>> = match &step.noise {
            Some(noise) => Some(self.arena.alloc(*noise.item())),
            None => None,
        };
        let kept: &'a CoreStep<'a> = self.arena.alloc(CoreStep {
            duration: step.duration,
            settings: step.settings,
            ramps,
            beats,
            series,
            recording,
            noise,
        });
        self.player.play_next(kept, self.played.len(), start);
        self.next = Some(Scheduled { step, start, by_command });
    }

    /// Applies a command and returns when it takes effect; the sender of the frames handles [`Command::Stop`].
    ///
    /// # Errors
    /// The reason why it can't be applied; nothing has changed.
    pub fn apply(&mut self, command: &Command) -> Result<Instant, String> {
        let at = self.effect(command);
        if let Command::Next = command {
            let waiting = self.next.take_if(|scheduled| !scheduled.by_command).map(|scheduled| scheduled.step);
            let step = waiting.or_else(|| self.put_off.take()).or_else(|| self.scripted());
            self.play_next(step.ok_or("the script has no more steps")?, at, false);
            return Ok(at);
        }
        let settings = command.change(self.settings_at(at))?;
        let beats = match command {
            Command::Beat(site) => vec![TimedBeat { after: Span::ZERO, site: *site }],
            _ => Vec::new(),
        };
        let beats = self.with_waiting(beats, at);
        self.replace(self.going_on(None, settings, beats, at)?, at)?;
        Ok(at)
    }

    /// Plays these settings from the next frame on, and holds them; returns when. A wave that has begun goes on to its end.
    ///
    /// The name is that of the step in the log; `beats` are premature beats after its start. A series of beats goes on as long as
    /// the rhythm stays.
    ///
    /// # Errors
    /// Settings that exclude each other, or premature beats beside a series; nothing has changed.
    pub fn play_at_once(
        &mut self,
        name: Option<String>,
        settings: Settings,
        beats: Vec<TimedBeat>,
    ) -> Result<Instant, String> {
        let at = self.soonest();
        let beats = self.with_waiting(beats, at);
        self.play_step_at_once(self.going_on(name, settings, beats, at)?)
    }

    /// As [`LivePlayer::play_at_once`], a whole step with its ramps, each of which has a length of its own or its step's. Premature
    /// beats that an earlier command asked for at the same instant do not come.
    ///
    /// # Errors
    /// Settings that exclude each other; nothing has changed.
    pub fn play_step_at_once(&mut self, step: DocumentStep) -> Result<Instant, String> {
        let at = self.soonest();
        self.replace(step, at)?;
        Ok(at)
    }

    /// Settings of the next frame if no command came.
    pub fn settings(&self) -> Settings {
        self.settings_at(self.rate.instant_of(self.position()))
    }

    /// Beats with those of a command's step that waits for the same instant, which the new step replaces.
    fn with_waiting(&self, beats: Vec<TimedBeat>, at: Instant) -> Vec<TimedBeat> {
        let waiting = self.next.as_ref().filter(|scheduled| scheduled.by_command && scheduled.start == at);
        let mut all: Vec<TimedBeat> = waiting.map_or(Vec::new(), |scheduled| scheduled.step.beats.clone());
        for beat in beats {
            if !all.contains(&beat) {
                all.push(beat);
            }
        }
        all
    }

    /// Puts a command's step in the place of what waits.
    fn replace(&mut self, step: DocumentStep, at: Instant) -> Result<(), String> {
        if let Some(conflict) = step.item().conflicts().next() {
            return Err(conflict.to_string());
        }
        if let Some(waiting) = self.next.take() {
            // A waiting step of an earlier command is replaced; a waiting step of the script is put off.
            if !waiting.by_command {
                self.put_off = Some(waiting.step);
            }
        }
        self.play_next(step, at, true);
        Ok(())
    }

    /// Settings at an instant if no command came.
    fn settings_at(&self, at: Instant) -> Settings {
        match (&self.next, self.played.last()) {
            (Some(scheduled), _) if scheduled.by_command => scheduled.step.settings,
            (_, Some(scheduled)) => {
                let item = scheduled.step.item();
                let since = at.since(scheduled.start);
                let ramps = scheduled.step.ramps.iter();
                ramps.fold(scheduled.step.settings, |settings, ramp| {
                    settings.with(ramp.field, item.value(ramp.field, since)).unwrap_or(settings)
                })
            }
            (Some(scheduled), None) => scheduled.step.settings,
            // Every script has a first step.
            (None, None) => Settings::new(&ADULT, &SINUS),
        }
    }

    /// A step that holds until the next command, and goes on with its noise, and with the series of beats unless the rhythm is another
    /// one.
    fn going_on(
        &self,
        name: Option<String>,
        settings: Settings,
        beats: Vec<TimedBeat>,
        at: Instant,
    ) -> Result<DocumentStep, String> {
        let waiting = self.next.as_ref().filter(|scheduled| scheduled.by_command);
        let before = waiting.or(self.played.last()).or(self.next.as_ref());
        let noise = before.and_then(|before| Some(before.step.noise.as_ref()?.from(at.since(before.start))));
        let before = before.filter(|scheduled| scheduled.step.settings.rhythm().id == settings.rhythm().id);
        let series = before.and_then(|before| Some(before.step.series.as_ref()?.from(at.since(before.start))));
        let recording = before.and_then(|before| Some(before.step.recording.as_ref()?.from(at.since(before.start))));
        if series.is_some() && !beats.is_empty() {
            return Err("no premature beat comes in a series of beats; a rhythm ends the series".to_owned());
        }
        Ok(DocumentStep { series, recording, noise, ..held(name, settings, beats) })
    }

    /// When a command takes effect: just after the next beat, or at once for a premature beat or when no beat comes soon. It is
    /// never before the present step has the least duration of a step.
    fn effect(&self, command: &Command) -> Instant {
        let now = self.rate.instant_of(self.position());
        let soonest = self.soonest();
        if matches!(command, Command::Beat(_)) {
            return soonest;
        }
        if let Some(scheduled) = self.next.as_ref().filter(|scheduled| scheduled.by_command) {
            return scheduled.start;
        }
        let mut ahead = self.player.clone();
        let mut beat = None;
        let last = self.rate.frame_at_or_after(now.plus(AHEAD));
        ahead.skip_observed(last.saturating_sub(self.position()), &mut |event| {
            if let (Event::Beat(next), None) = (event, beat)
                && next.onset >= soonest
            {
                beat = Some(next.onset.plus(Span::from_ticks(1)));
            }
        });
        let scripted = self.next.as_ref().map(|scheduled| scheduled.start.max(soonest));
        [beat, scripted].into_iter().flatten().min().unwrap_or(soonest)
    }

    /// The next frame, or the end of the present step's least duration.
    fn soonest(&self) -> Instant {
        let now = self.rate.instant_of(self.position());
        self.played.last().map_or(now, |scheduled| scheduled.start.plus(MIN_STEP).max(now))
    }

    /// Whether the present step has the least duration of a step, so that playing may stop here.
    pub fn may_stop(&self) -> bool {
        let now = self.rate.instant_of(self.position());
        self.played.last().is_some_and(|scheduled| now >= scheduled.start.plus(MIN_STEP))
    }

    /// The steps played up to the next frame, as a document that plays them again.
    ///
    /// Expectations that a step does not bear as it was played, such as the alarm of one that was cut short, are left out.
    /// A last step that is shorter than the least duration gets the least duration; see [`LivePlayer::may_stop`].
    pub fn log(&self) -> Document {
        as_played(self.document, self.log_from(0)).with_expectations_that_hold()
    }

    /// The steps of [`LivePlayer::log`] from the place `first` on, with what they expect as it was written.
    pub fn log_from(&self, first: usize) -> Vec<DocumentStep> {
        let end = self.rate.instant_of(self.position());
        let ends = self.played.iter().skip(first + 1).map(|scheduled| scheduled.start).chain([end]);
        let steps = self.played.iter().skip(first).zip(ends).map(|(scheduled, end)| {
            let lasted = end.since(scheduled.start).max(MIN_STEP);
            // A ramp over a whole step keeps its own length when the step was cut off or held on.
            let ramps = scheduled.step.ramps.iter().map(|ramp| Ramp {
                over: ramp.over.or(scheduled.step.duration).filter(|over| *over != lasted),
                ..*ramp
            });
            let beats = scheduled.step.beats.iter().copied().filter(|beat| beat.after < lasted);
            DocumentStep {
                duration: Some(lasted),
                ramps: ramps.collect(),
                beats: beats.collect(),
                ..scheduled.step.clone()
            }
        });
        steps.collect()
    }
}

/// The log of a document whose steps were played so.
pub fn as_played(document: &Document, steps: Vec<DocumentStep>) -> Document {
    let title = document.title().map_or("As played".to_owned(), |title| format!("{title}, as played"));
    let notes = "Written while frames were sent: rendered, it gives the same bytes.".to_owned();
    document.clone().with_steps(title, notes, steps)
}

/// A step that holds until the next command.
fn held(name: Option<String>, settings: Settings, beats: Vec<TimedBeat>) -> DocumentStep {
    DocumentStep { name, beats, ..DocumentStep::new(None, settings) }
}

/// Logs the waiting step when it starts, and passes events on.
struct Start<'s> {
    played: &'s mut Vec<Scheduled>,
    next: &'s mut Option<Scheduled>,
    observe: &'s mut dyn FnMut(Event),
}

impl Observer for Start<'_> {
    fn observe(&mut self, event: Event) {
        if let Event::Step { at, .. } = event {
            self.played.extend(self.next.take().map(|scheduled| Scheduled { start: at, ..scheduled }));
        }
        (self.observe)(event);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::heart::catalogue::named;
    use pulsewright_core::heart::rhythm::EctopicSite;
    use pulsewright_core::settings::Field;
    use pulsewright_script::DocumentPart;

    /// An order that comes before a premature beat's step has begun must not take the beat away.
    #[test]
    fn a_beat_outlives_an_order_for_the_same_instant() {
        let sinus = Settings::new(&ADULT, &SINUS);
        let document =
            Document::default().with_steps(String::new(), String::new(), vec![held(None, sinus, Vec::new())]);
        let items = document.items();
        let script = Script::new(1, &items).unwrap();
        let arena = Bump::new();
        let mut live = LivePlayer::new(&arena, &document, &script, SiteSet::USUAL, FrameRate::lit(500));
        let mut frame = [Frame::default()];
        (0..500).for_each(|_| _ = live.fill(&mut frame));
        let beat = TimedBeat { after: Span::ZERO, site: EctopicSite::LeftVentricle };
        let at = live.play_at_once(None, sinus, vec![beat]).unwrap();
        let louder = sinus.with(Field::EcgGain, 2.0).unwrap();
        assert_eq!(live.play_at_once(None, louder, vec![beat]).unwrap(), at);
        (0..500).for_each(|_| _ = live.fill(&mut frame));
        let log = live.log();
        let Some(DocumentPart::Step(last)) = log.parts().last() else { panic!("a step") };
        assert_eq!((last.settings.get(Field::EcgGain), last.beats.as_slice()), (2.0, &[beat][..]));
    }

    #[test]
    fn a_series_goes_on_when_settings_change_and_ends_with_its_rhythm() {
        let text = br#"{"version": 1, "seed": 3, "steps": [
            {"duration_s": "hold", "series": {"rr_s": [0.8, 0.5, 1.1], "codes": "NVN"}}]}"#;
        let document = pulsewright_script::parse(text, "t.json").expect("a script");
        let items = document.items();
        let script = Script::new(3, &items).expect("a script");
        let arena = Bump::new();
        let mut live = LivePlayer::new(&arena, &document, &script, SiteSet::USUAL, FrameRate::lit(250));
        let mut peaks = Vec::new();
        let mut frames = [Frame::default(); 10];
        let mut sent = Vec::new();
        for block in 0..750 {
            match block {
                150 => drop(live.apply(&Command::Set(vec![(Field::RateBpm, 90.0)])).expect("a rate")),
                200 => drop(live.apply(&Command::Set(vec![(Field::EcgGain, 2.0)])).expect("a gain")),
                250 => assert!(live.apply(&Command::Beat(EctopicSite::Atrium)).is_err()),
                500 => drop(live.apply(&Command::Rhythm(&SINUS)).expect("the same rhythm")),
                600 => drop(live.apply(&Command::Rhythm(named("atrial-fibrillation"))).expect("a rhythm")),
                _ => {}
            }
            live.fill_observed(&mut frames, &mut |event| {
                if let Event::Beat(beat) = event {
                    peaks.push(beat.peak.as_secs_f64());
                }
            });
            sent.extend_from_slice(&frames);
        }
        let expected = (0..10).flat_map(|pass| [0.8, 1.3, 2.4].map(|at| 2.4 * f64::from(pass) + at));
        for (found, expected) in peaks.iter().zip(expected) {
            assert!((found - expected).abs() < 0.001, "{found} and {expected}");
        }
        let log = live.log();
        let steps: Vec<bool> = (0..5).map(|i| log.step(i).is_some_and(|step| step.series.is_some())).collect();
        assert_eq!(steps, [true, true, true, true, false]);
        let again = pulsewright_script::parse(log.to_json().to_string().as_bytes(), "log.json").expect("a log");
        let items = again.items();
        let mut player = Player::new(&Script::new(again.seed(), &items).expect("a script"), FrameRate::lit(250));
        let mut frames = vec![Frame::default(); sent.len()];
        assert_eq!(player.fill(&mut frames), sent.len());
        assert!(frames == sent, "the log plays other frames");
    }
}
