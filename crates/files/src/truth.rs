//! The truth beside a signal, as CSV files written while the events happen: bounded memory, whatever the length.
//!
//! | file | a row for each | columns |
//! |---|---|---|
//! | `beats` | QRS whose peak is in the signal | `time_s` (QRS peak), `frame` (nearest), `code`, `rr_s`, `p_onset_s`, `qrs_onset_s`, `qrs_end_s`, `t_end_s` |
//! | `atrial` | P wave | `time_s` (P onset), `frame` |
//! | `pulses` | pressure pulse | `time_s` (foot), `channel`, `foot_mmhg`, `peak_s`, `systolic_mmhg` (highest), `end_s` (next foot), `lowest_mmhg`, `mean_mmhg` (integral from foot to end) |
//! | `breaths` | breath, or effort against a closed throat | `time_s` (start of inspiration), `peak_s`, `end_s`, `depth_ohm`, `air` (`no` where the throat is closed), `measured` (`no` where an electrode of the impedance is off between its start and its peak) |
//! | `pacing` | pulse of a pacing device | `time_s`, `frame`, `chamber`, `captures` (`yes`, `no`) |
//! | `cuff` | phase of the cuff, or reading | `time_s` (start, or when the reading is known), `phase` (`inflating`, `deflating`, `over-pressure`, `vented`, `reading`), `cuff_mmhg`, `systolic_mmhg`, `diastolic_mmhg`, `mean_mmhg` (of a reading, the mean of what the methods read), then lowest and highest of each |
//! | `episodes` | fibrillation, flutter, apnoea, ST shift, noise, lead off | `start_s`, `end_s`, `episode` |
//! | `steps` | step played | `step` (from 1), `name`, `start_s`, `end_s`, `rhythm`, `body`, `rate_bpm`, `systolic_mmhg`, `diastolic_mmhg`, `mean_mmhg`, `breaths_per_min` (means), `alarm` (highest priority), `alarm_name`, `alarm_s` (when its limit is reached), `settled_s` (from here on the readings count), then lowest and highest of each reading |
//! | `readings` | reading of a step | `step`, `reading`, `unit`, `start_s`, `end_s`, `settle_s`, `expected` (mean), `low`, `high`, `why` |
//! | `alarms` | time that an alarm's condition held, in the order in which they end | `alarm`, `time_s` (its limit is reached), `within_s`, `end_s`, `priority`, `begin_s`, `required` |
//! | `refused` | beat that was asked for and does not come | `time_s` (when it was to come), `site`, `why` |
//!
//! Where asked for, [`leads`] describes each beat in single leads.
//!
//! An empty cell means: there is none. Steps, readings and alarms are those that a correct monitor shows for the signal
//! ([`pulsewright_core::expect`]).

mod beats;
mod breaths;
mod expectations;
pub mod leads;
mod tables;

pub use beats::{BeatRows, nearest_frame};
pub use breaths::MeasuredBreaths;
pub use expectations::ExpectedTables;
pub use tables::{TruthFile, quoted};

use crate::decimal::{push_instant, push_rounded};
use pulsewright_core::expect::{CuffMeter, CuffReading, ReadingBand};
use pulsewright_core::frame::{Channel, PressureSite};
use pulsewright_core::script::Script;
use pulsewright_core::time::{FrameRate, Instant};
use pulsewright_core::truth::{Beat, Breath, Chamber, CuffEvent, CuffPhase, Episode, Event, Observer};
use std::io::{self, Write};

/// Writes events as they happen.
///
/// An error of the files is kept until [`TruthWriter::finish`]; nothing is written after it.
pub struct TruthWriter<W: Write> {
    rate: FrameRate,
    frames: u64,
    files: [W; TruthFile::EVENTS.len()],
    row: Vec<u8>,
    trouble: io::Result<()>,
    beats: BeatRows,
    breaths: MeasuredBreaths,
    cuff: CuffMeter,
    running: Vec<(Episode, Instant)>,
}

impl<W: Write> TruthWriter<W> {
    /// For a render of `frames` frames; `files` in the order of [`TruthFile::EVENTS`].
    pub fn new(
        script: &Script<'_>,
        rate: FrameRate,
        frames: u64,
        files: [W; TruthFile::EVENTS.len()],
    ) -> TruthWriter<W> {
        let mut truth = TruthWriter {
            rate,
            frames,
            files,
            row: Vec::new(),
            trouble: Ok(()),
            beats: BeatRows::new(rate, frames),
            breaths: MeasuredBreaths::new(script),
            cuff: CuffMeter::new(),
            running: Vec::new(),
        };
        for file in TruthFile::EVENTS {
            truth.row.extend_from_slice(file.columns().as_bytes());
            truth.write(file);
        }
        truth
    }

    /// Writes the rows that are still open at the end, and gives the files back.
    ///
    /// # Errors
    /// The first error of writing.
    pub fn finish(mut self) -> io::Result<[W; TruthFile::EVENTS.len()]> {
        let end = self.rate.instant_of(self.frames);
        if let Some(reading) = self.cuff.finish(end) {
            self.cuff_reading(&reading);
        }
        if let Some(breath) = self.breaths.finish() {
            self.breath(breath);
        }
        while let Some((episode, start)) = self.running.first().copied() {
            self.end_episode(episode, start, end);
        }
        self.trouble.map(|()| self.files)
    }

    /// Ends the row and sends it to its file.
    fn write(&mut self, file: TruthFile) {
        self.row.push(b'\n');
        let written = TruthFile::EVENTS.iter().zip(&mut self.files).find(|(which, _)| **which == file);
        if let (Ok(()), Some((_, written))) = (&self.trouble, written) {
            self.trouble = written.write_all(&self.row);
        }
        self.row.clear();
    }

    fn comma(&mut self) -> &mut Vec<u8> {
        self.row.push(b',');
        &mut self.row
    }

    fn beat(&mut self, beat: &Beat) {
        if self.beats.put(beat, &mut self.row) {
            self.write(TruthFile::Beats);
        }
    }

    fn breath(&mut self, (breath, measured): (Breath, bool)) {
        push_instant(&mut self.row, breath.start);
        push_instant(self.comma(), breath.peak);
        push_instant(self.comma(), breath.end);
        push_rounded(self.comma(), breath.depth_ohm, 3);
        for yes in [!breath.obstructed, measured] {
            self.comma().extend_from_slice(if yes { b"yes" } else { b"no" });
        }
        self.write(TruthFile::Breaths);
    }

    fn cuff_phase(&mut self, event: &CuffEvent) {
        push_instant(&mut self.row, event.at);
        self.comma().extend_from_slice(phase_word(event.phase).as_bytes());
        push_rounded(self.comma(), event.cuff_mmhg, 2);
        self.row.extend_from_slice(b",,,,,,,,,");
        self.write(TruthFile::Cuff);
    }

    fn cuff_reading(&mut self, reading: &CuffReading) {
        push_instant(&mut self.row, reading.at);
        self.row.extend_from_slice(b",reading,");
        let bands = [reading.systolic_mmhg, reading.diastolic_mmhg, reading.mean_mmhg];
        for band in bands {
            push_rounded(self.comma(), band.mean, 2);
        }
        for ReadingBand { low, high, .. } in bands {
            push_rounded(self.comma(), low, 2);
            push_rounded(self.comma(), high, 2);
        }
        self.write(TruthFile::Cuff);
    }

    fn end_episode(&mut self, episode: Episode, start: Instant, end: Instant) {
        self.running.retain(|running| running.0 != episode);
        push_instant(&mut self.row, start);
        push_instant(self.comma(), end);
        self.comma().extend_from_slice(episode_word(episode).as_bytes());
        self.write(TruthFile::Episodes);
    }
}

impl<W: Write> Observer for TruthWriter<W> {
    fn observe(&mut self, event: Event) {
        if let Some(reading) = self.cuff.take(&event) {
            self.cuff_reading(&reading);
        }
        if let Some(breath) = self.breaths.take(&event) {
            self.breath(breath);
        }
        match event {
            Event::Atrial(atrial) => {
                push_instant(&mut self.row, atrial.onset);
                write!(self.row, ",{}", nearest_frame(atrial.onset, self.rate)).ok();
                self.write(TruthFile::Atrial);
            }
            Event::Beat(beat) => self.beat(&beat),
            Event::Episode { episode, at, starts: true } => self.running.push((episode, at)),
            Event::Episode { episode, at, starts: false } => {
                let running = self.running.iter().find(|running| running.0 == episode);
                if let Some((_, start)) = running.copied() {
                    self.end_episode(episode, start, at);
                }
            }
            Event::Pace { at, chamber, captures } => {
                let chamber = match chamber {
                    Chamber::Atrium => "atrium",
                    Chamber::Ventricle => "ventricle",
                };
                push_instant(&mut self.row, at);
                let frame = nearest_frame(at, self.rate);
                write!(self.row, ",{frame},{chamber},{}", if captures { "yes" } else { "no" }).ok();
                self.write(TruthFile::Pacing);
            }
            Event::Pulse(pulse) => {
                push_instant(&mut self.row, pulse.foot);
                self.comma().extend_from_slice(site_channel(pulse.site).id().as_bytes());
                push_rounded(self.comma(), pulse.foot_mmhg, 2);
                push_instant(self.comma(), pulse.foot.plus(pulse.rise));
                push_rounded(self.comma(), pulse.systolic_mmhg, 2);
                push_instant(self.comma(), pulse.end);
                push_rounded(self.comma(), pulse.lowest_mmhg, 2);
                push_rounded(self.comma(), pulse.mean_mmhg, 2);
                self.write(TruthFile::Pulses);
            }
            Event::Cuff(event) => self.cuff_phase(&event),
            Event::Refused(beat) => {
                push_instant(&mut self.row, beat.asked);
                write!(self.row, ",{},{}", beat.site.id(), beat.why.id()).ok();
                self.write(TruthFile::Refused);
            }
            // Steps are for the expectations, and breaths have been written; an event of a later version needs a file of its own.
            _ => {}
        }
    }
}

/// Word of an episode in the truth.
pub fn episode_word(episode: Episode) -> &'static str {
    match episode {
        Episode::AtrialFibrillation => "atrial-fibrillation",
        Episode::AtrialFlutter => "atrial-flutter",
        Episode::VentricularFlutter => "ventricular-flutter",
        Episode::VentricularFibrillation => "ventricular-fibrillation",
        Episode::Apnoea => "apnoea",
        Episode::Obstruction => "obstruction",
        Episode::StShift => "st-shift",
        Episode::Noise => "noise",
        Episode::LeadOff => "lead-off",
        _ => "other",
    }
}

/// Word of a phase of the cuff in the truth.
pub(crate) fn phase_word(phase: CuffPhase) -> &'static str {
    match phase {
        CuffPhase::Inflating => "inflating",
        CuffPhase::Deflating => "deflating",
        CuffPhase::OverPressure => "over-pressure",
        CuffPhase::Vented => "vented",
        _ => "other",
    }
}

fn site_channel(site: PressureSite) -> Channel {
    Channel::Pressure(site)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::expect::AlarmLimits;
    use pulsewright_core::heart::catalogue::{ASYSTOLE, SINUS, VENTRICULAR_FIBRILLATION};
    use pulsewright_core::player::Player;
    use pulsewright_core::pressure::SiteSet;
    use pulsewright_core::script::{Item, Ramp, Step};
    use pulsewright_core::settings::{Field, Settings};
    use pulsewright_core::time::Span;

    const RATE: FrameRate = FrameRate::lit(500);

    fn truth(items: &[Item<'_>], labels: &[&str], frames: u64) -> [String; 11] {
        let script = Script::new(1, items).unwrap();
        let mut truth = TruthWriter::new(&script, RATE, frames, TruthFile::EVENTS.map(|_| Vec::new()));
        Player::new(&script, RATE).skip_observed(frames, &mut truth);
        let end = RATE.instant_of(frames);
        let expectations = ExpectedTables::new(&script, labels, SiteSet::USUAL, AlarmLimits::USUAL, end);
        let events = TruthFile::EVENTS.into_iter().zip(truth.finish().unwrap());
        let expected = TruthFile::EXPECTED.into_iter().zip(expectations.write([const { Vec::new() }; 3]).unwrap());
        let mut files = std::array::from_fn(|_| String::new());
        for (file, text) in events.chain(expected) {
            files[file as usize] = String::from_utf8(text).unwrap();
        }
        files
    }

    fn file(files: &[String; 11], which: TruthFile) -> Vec<Vec<&str>> {
        files[which as usize].lines().skip(1).map(|line| line.split(',').collect()).collect()
    }

    fn step(settings: Settings, secs: u32) -> Item<'static> {
        Item::Step(Step::lasting(Span::secs(secs), settings))
    }

    #[test]
    fn beats_stand_at_their_peaks_with_the_interval_before() {
        let settings = Settings::new(&ADULT, &SINUS).lit(Field::RateBpm, 75.0);
        let files = truth(&[step(settings, 8)], &["rest"], 4000);
        let beats = file(&files, TruthFile::Beats);
        assert_eq!(beats.len(), 10);
        assert_eq!(beats[0][3], "", "the first has no interval before it");
        for (i, beat) in beats.iter().enumerate().skip(1) {
            assert_eq!(&beat[2..4], ["N", "0.800000"]);
            let time: f64 = beat[0].parse().unwrap();
            assert!((beat[1].parse::<f64>().unwrap() - time * 500.0).abs() <= 0.5, "row {i}");
            let times: Vec<f64> = [4, 5, 0, 6, 7].iter().map(|column| beat[*column].parse().unwrap()).collect();
            assert!(times.is_sorted(), "P onset, QRS onset, peak, end, T end: {times:?}");
        }
        assert_eq!(file(&files, TruthFile::Atrial).len(), 10);
        assert_eq!(file(&files, TruthFile::Breaths).len(), 2);
    }

    #[test]
    fn a_beat_whose_peak_is_cut_off_is_not_in_the_signal() {
        let settings = Settings::new(&ADULT, &SINUS).lit(Field::RateBpm, 60.0);
        let count = |frames| file(&truth(&[step(settings, 5)], &[], frames), TruthFile::Beats).len();
        let whole = truth(&[step(settings, 5)], &[], 2500);
        let peak: u64 = file(&whole, TruthFile::Beats)[2][1].parse().unwrap();
        assert_eq!((count(peak), count(peak + 1)), (2, 3));
    }

    #[test]
    fn steps_have_the_readings_of_a_correct_monitor() {
        let rest = Settings::new(&ADULT, &SINUS).lit(Field::RateBpm, 80.0);
        let ramps = [Ramp { field: Field::RateBpm, to: 120.0, over: None }];
        let items = [
            step(rest, 10),
            Item::Step(Step {
                duration: Some(Span::secs(10)),
                settings: rest,
                ramps: &ramps,
                beats: &[],
                series: None,
                recording: None,
                noise: None,
            }),
            step(rest.with_rhythm(&ASYSTOLE), 5),
        ];
        let files = truth(&items, &["rest", "rise, fast", "\"stop\"\n"], 12_000);
        let text = &files[TruthFile::Steps as usize];
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines[1].starts_with("1,rest,0.000000,10.000000,sinus,adult,80.00,120.00,80."), "{}", lines[1]);
        assert!(lines[1].contains(",15.00,none,,,5.000000,80.00,80.00,"), "{}", lines[1]);
        assert!(lines[2].starts_with("2,\"rise, fast\",10.000000,20.000000,sinus,adult,1"), "{}", lines[2]);
        // Cut off by the end of the render after 4 of 5 s; no pulses to read.
        let stop = "3,\"\"\"stop\"\" \",20.000000,24.000000,asystole,adult,0.00,,,";
        assert!(lines[3].starts_with(stop), "{}", lines[3]);
        // The second half of the rising rate: 100 to 120.
        let readings = file(&files, TruthFile::Readings);
        let rising = readings.iter().find(|row| row[..2] == ["2", "heart-rate"]).unwrap();
        let [expected, low, high] = [6, 7, 8].map(|column| rising[column].parse::<f64>().unwrap());
        assert!((108.0..112.0).contains(&expected) && low < 105.0 && high > 112.0, "{rising:?}");
        assert!(readings.iter().any(|row| row[..2] == ["1", "venous-mean"]));
    }

    #[test]
    fn alarms_are_written_with_onset_and_end() {
        let rest = Settings::new(&ADULT, &SINUS).lit(Field::RateBpm, 60.0);
        let items = [step(rest, 10), step(rest.with_rhythm(&VENTRICULAR_FIBRILLATION), 10), step(rest, 10)];
        let files = truth(&items, &[], 15_000);
        let rows = file(&files, TruthFile::Alarms);
        let fibrillation = rows.iter().find(|row| row[0] == "ventricular-fibrillation").unwrap();
        assert_eq!(fibrillation[1..], ["14.000000", "6.000", "20.000000", "high", "10.000000", "yes"]);
    }

    #[test]
    fn episodes_end_with_the_step_or_the_render() {
        let rest = Settings::new(&ADULT, &SINUS);
        let items = [step(rest, 3), step(rest.with_rhythm(&VENTRICULAR_FIBRILLATION), 4), step(rest, 3)];
        let cut = truth(&items, &[], 2500);
        assert_eq!(file(&cut, TruthFile::Episodes), [["3.000000", "5.000000", "ventricular-fibrillation"]]);
        let whole = truth(&items, &[], 5000);
        assert_eq!(file(&whole, TruthFile::Episodes), [["3.000000", "7.000000", "ventricular-fibrillation"]]);
    }

    #[test]
    fn every_pulse_of_a_pacing_device_is_written() {
        let rhythm = pulsewright_core::heart::catalogue::find("paced-vvi").unwrap();
        let files = truth(&[step(Settings::new(&ADULT, rhythm).lit(Field::RateBpm, 60.0), 10)], &[], 5000);
        let (paces, beats) = (file(&files, TruthFile::Pacing), file(&files, TruthFile::Beats));
        assert_eq!((paces.len(), beats.len()), (10, 10));
        assert!(paces.iter().all(|pace| pace[2..] == ["ventricle", "yes"]), "{paces:?}");
        assert!(beats.iter().all(|beat| beat[2] == "/"));
    }

    #[test]
    fn every_phase_of_the_cuff_is_written_with_its_reading() {
        let rest = Settings::new(&ADULT, &SINUS);
        let measured = rest.lit(Field::CuffInflate, 160.0).lit(Field::CuffDeflation, 5.0);
        let burst = rest.lit(Field::CuffInflate, 350.0);
        let files = truth(&[step(measured, 40), step(rest, 5), step(burst, 20)], &[], 32_500);
        let text = &files[TruthFile::Cuff as usize];
        let rows = file(&files, TruthFile::Cuff);
        let phases: Vec<&str> = rows.iter().map(|row| row[1]).collect();
        assert_eq!(phases, ["inflating", "deflating", "reading", "vented", "inflating", "over-pressure"], "{text}");
        assert_eq!(rows[0][..3], ["0.000000", "inflating", "0.00"]);
        // 40 mmHg/s up to 160, 5 mmHg/s down to 30.
        assert_eq!(rows[1][..5], ["4.000000", "deflating", "160.00", "", ""]);
        let read = [3, 4].map(|column| rows[2][column].parse::<f64>().unwrap());
        assert!((read[0] - 120.0).abs() < 0.5 && (read[1] - 80.0).abs() < 0.5, "{text}");
        assert_eq!(rows[3][..6], ["30.000000", "vented", "30.00", "", "", ""]);
        assert_eq!(rows[5][1..6], ["over-pressure", "300.00", "", "", ""]);
        assert!((rows[5][0].parse::<f64>().unwrap() - 52.5).abs() < 1e-5);
    }

    #[test]
    fn an_error_of_a_file_is_kept() {
        struct Full;
        impl Write for Full {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::StorageFull.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let items = [step(Settings::new(&ADULT, &SINUS), 1)];
        let script = Script::new(1, &items).unwrap();
        let truth = TruthWriter::new(&script, RATE, 500, TruthFile::EVENTS.map(|_| Full));
        assert_eq!(truth.finish().map(|_| ()).unwrap_err().kind(), io::ErrorKind::StorageFull);
        let end = RATE.instant_of(500);
        let expectations = ExpectedTables::new(&script, &[], SiteSet::USUAL, AlarmLimits::USUAL, end);
        let written = expectations.write(TruthFile::EXPECTED.map(|_| Full));
        assert_eq!(written.map(|_| ()).unwrap_err().kind(), io::ErrorKind::StorageFull);
    }

    #[test]
    fn the_nearest_frame_at_its_edges() {
        let at = |micros| nearest_frame(Instant::ZERO.plus(Span::micros(micros)), RATE);
        assert_eq!((at(0), at(999), at(1001), at(2999), at(3001)), (0, 0, 1, 1, 2));
        assert_eq!(nearest_frame(Instant::NEVER, FrameRate::lit(48_000)), 48_000 << 32);
    }
}
