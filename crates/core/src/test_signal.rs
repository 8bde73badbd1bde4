//! Test signals of the clauses for ECG monitors and recorders, in place of the heart's waves.
//!
//! The heart goes on keeping time, so triangular QRS complexes come at the rhythm's beats and the truth reports them; nothing
//! of a heart is drawn. A T wave that the next QRS overtakes (from 171 bpm on) ends there. All eight independent leads carry
//! the same potential `s`, as in calibration signals, so III is 0, aVR is `-s`, aVL and aVF
//! are `s/2`. Artefacts and pacing pulses add to it as to any ECG.
//!
//! Offset and drift work under every ECG, not only under test signals.
//!
//! Shapes, with `h` the height set, `t` the time since the start of the step or of the beat, `f` the frequency set:
//!
//! | signal | potential |
//! |---|---|
//! | triangular-qrs | `h` at the peak, a symmetric triangle of the base width set; T a half sine of 180 ms that ends 350 ms after the QRS onset |
//! | level | `h` |
//! | square | `h/2` in the first half of each period, `-h/2` in the second |
//! | triangle | from 0 up to `h/2`, down to `-h/2`, back to 0 |
//! | sine | `h/2 sin(2 pi f t)` |
//! | sweep | as sine, `f` growing by the same factor in equal times from the frequency set to the last one, over the step |
//! | impulses | `h` for the width set at the start of each period, else 0 |
//!
//! Corners that fall between two frames would cost height and area. So the triangle has a top that is one frame long and flanks
//! that are steeper by as much: a frame always meets the peak, and area and width at half height stay. The edges of squares and
//! impulses are means over the frame that they fall into, so the area stays. Both go to the shapes of the table as the frame
//! rate grows. [`Fault::of`] finds shapes that a frame rate is too low for.

use crate::anatomy::BeatCode;
use crate::block::BlockRows;
use crate::course::Course;
use crate::field::Field;
use crate::frequency::Frequency;
use crate::math;
use crate::sweep::Sweep;
use crate::time::{FrameRate, Instant, Span};
use crate::truth;
use core::fmt;

/// A test signal. The values of [`Field::TestSignal`] are these numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum TestSignal {
    /// None: the heart is drawn.
    None,
    /// Triangles where the rhythm has its beats.
    TriangularQrs,
    /// A constant potential.
    Level,
    /// A square wave.
    Square,
    /// A triangle wave.
    Triangle,
    /// A sine.
    Sine,
    /// A sine whose frequency sweeps over the step.
    Sweep,
    /// Rectangular impulses.
    Impulses,
}

impl TestSignal {
    /// Every value, in the order of their numbers.
    pub const ALL: [TestSignal; 8] = [
        TestSignal::None,
        TestSignal::TriangularQrs,
        TestSignal::Level,
        TestSignal::Square,
        TestSignal::Triangle,
        TestSignal::Sine,
        TestSignal::Sweep,
        TestSignal::Impulses,
    ];

    /// The signal whose number a value of [`Field::TestSignal`] is.
    pub(crate) const fn numbered(value: f32) -> TestSignal {
        let number = value as usize;
        if number < TestSignal::ALL.len() { TestSignal::ALL[number] } else { TestSignal::None }
    }

    /// Whether the heart's beats are part of it.
    pub const fn has_beats(self) -> bool {
        matches!(self, TestSignal::None | TestSignal::TriangularQrs)
    }
}

/// Frames that the base of a triangular QRS must have, so that its area is within 1 % wherever the frames fall.
///
/// A trapezoid of base `b - T` and top `T` (`T` is a frame) has four corners, each worth at most `1/12` of its change of slope
/// times `T^2`; together they are at most `T^2 / (b (b - 2T))` of the area.
const LEAST_FRAMES_OF_QRS: f32 = 11.1;
/// Frames that an impulse or half a square must have, so that one of them lies wholly within.
const LEAST_FRAMES_OF_PULSE: f32 = 2.0;
/// Frames that a quarter of a triangle wave must have where it is not a whole number of them: a frame then misses the peak by
/// half a frame, 1 %.
const LEAST_FRAMES_OF_QUARTER: f32 = 50.0;

/// Why a frame rate can't carry a test signal within 1 % of its height and area.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Fault {
    /// A triangular QRS, an impulse or half a square lasts too few frames.
    Short {
        /// Which signal.
        signal: TestSignal,
        /// How long it lasts, ms.
        length_ms: f32,
        /// Lowest frame rate that carries it, frames a second.
        least_hz: f32,
    },
    /// The peaks of a triangle wave or of the drift fall between frames.
    Peaks {
        /// Frequency, Hz.
        hz: f32,
        /// Lowest frame rate that carries it wherever its peaks fall, frames a second.
        least_hz: f32,
    },
    /// A sine or a sweep reaches half the frame rate.
    Alias {
        /// Highest frequency, Hz.
        hz: f32,
    },
}

impl Fault {
    /// Why `rate` can't carry the test signal and the drift of settings that `get` reads; `None` if it can.
    pub fn of(signal: TestSignal, get: impl Fn(Field) -> f32, rate: FrameRate) -> Option<Fault> {
        let rate_hz = rate.as_hz() as f32;
        let short = |length_ms: f32, frames: f32| {
            let least_hz = 1000.0 * frames / length_ms;
            (rate_hz < least_hz).then_some(Fault::Short { signal, length_ms, least_hz })
        };
        let alias = |hz: f32| (2.0 * hz >= rate_hz).then_some(Fault::Alias { hz });
        let wave = match signal {
            TestSignal::None | TestSignal::Level => None,
            TestSignal::TriangularQrs => short(get(Field::TestWidthMs), LEAST_FRAMES_OF_QRS),
            TestSignal::Impulses => short(get(Field::TestWidthMs), LEAST_FRAMES_OF_PULSE),
            TestSignal::Square => short(500.0 / get(Field::TestHz), LEAST_FRAMES_OF_PULSE),
            TestSignal::Triangle => Fault::of_triangle(get(Field::TestHz), rate_hz),
            TestSignal::Sine => alias(get(Field::TestHz)),
            TestSignal::Sweep => alias(math::max(get(Field::TestHz), get(Field::TestLastHz))),
        };
        let drift =
            if get(Field::TestDriftMv) == 0.0 { None } else { Fault::of_triangle(get(Field::TestDriftHz), rate_hz) };
        wave.or(drift)
    }

    fn of_triangle(hz: f32, rate_hz: f32) -> Option<Fault> {
        let frames = rate_hz / (4.0 * hz);
        let nearest = (frames + 0.5) as u32 as f32;
        let whole = math::abs(frames - nearest) < 1e-4 * frames;
        let least_hz = 4.0 * hz * LEAST_FRAMES_OF_QUARTER;
        (!whole && frames < LEAST_FRAMES_OF_QUARTER).then_some(Fault::Peaks { hz, least_hz })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::Short { signal, length_ms, least_hz } => {
                let what = match signal {
                    TestSignal::Square => "half a square wave",
                    TestSignal::Impulses => "an impulse",
                    _ => "a triangular QRS",
                };
                write!(f, "{what} of {length_ms} ms needs at least {least_hz:.0} frames a second")
            }
            Fault::Peaks { hz, least_hz } => write!(
                f,
                "the peaks of a triangle wave of {hz} Hz fall between frames; a frame rate that is a multiple of {} Hz carries them, or one from {least_hz:.0} on",
                4.0 * hz
            ),
            Fault::Alias { hz } => write!(f, "{hz} Hz needs more than {:.0} frames a second", 2.0 * hz),
        }
    }
}

/// Start and length of the T wave after a triangular QRS, s: QT 350 ms, T 180 ms (EC13 4.1.2.1 c).
const T_START_S: f32 = 0.17;
const T_LENGTH_S: f32 = 0.18;
/// From the QRS onset to the end of T.
const QT: Span = Span::millis(350);

/// The last triangular QRS with its T wave: the values at its start. The heart has its time.
#[derive(Clone, Debug, Default)]
pub(crate) struct TestBeat {
    width_s: f32,
    qrs_mv: f32,
    t_mv: f32,
}

impl TestBeat {
    /// A QRS of this width and height, and its T wave.
    pub(crate) fn new(width_ms: f32, qrs_mv: f32, t_mv: f32) -> TestBeat {
        TestBeat { width_s: 0.001 * width_ms, qrs_mv, t_mv }
    }

    /// The beat as the truth reports it.
    pub(crate) fn report(&self, onset: Instant, code: BeatCode) -> truth::Beat {
        let end = onset.shifted(self.width_s);
        let t_end = if self.t_mv == 0.0 { end } else { end.max(onset.plus(QT)) };
        let peak = onset.shifted(0.5 * self.width_s);
        truth::Beat { onset, peak, end, t_end, p_onset: None, code, is_recorded: false }
    }

    /// Whether anything of a beat with this onset is left at `now`, or still to come.
    pub(crate) fn lasts(&self, onset: Instant, now: Instant) -> bool {
        self.width_s != 0.0 && now.since(onset) <= Span::secs(3)
    }

    /// Its value at an instant, mV, at whatever frame rate.
    pub(crate) fn value(&self, onset: Instant, now: Instant) -> f32 {
        self.at(onset, now, 0.0)
    }

    fn at(&self, onset: Instant, now: Instant, frame_s: f32) -> f32 {
        if now < onset || !self.lasts(onset, now) {
            return 0.0;
        }
        let t = now.since(onset).as_secs();
        let half_s = 0.5 * self.width_s;
        let from_foot_s = half_s - 0.5 * frame_s - math::abs(t - half_s);
        let flank_s = math::max(half_s - frame_s, 1e-9);
        let qrs = math::clamp(from_foot_s / flank_s, 0.0, 1.0);
        let share = (t - T_START_S) * (1.0 / T_LENGTH_S);
        let wave = if share > 0.0 && share < 1.0 { math::sin_turn(math::phase_of(0.5 * share)) } else { 0.0 };
        self.qrs_mv * qrs + self.t_mv * wave
    }
}

/// Whether [`add_to`] adds anything in a step that uses these fields.
pub(crate) fn is_on(used: impl Fn(Field) -> bool) -> bool {
    [Field::TestSignal, Field::TestOffsetMv, Field::TestDriftMv].into_iter().any(used)
}

/// Settings of the test signals over a step.
pub(crate) struct TestConditions {
    /// Start of the step, from which the courses count.
    pub(crate) start: Instant,
    /// Length of the step, over which the frequency sweeps.
    pub(crate) duration: Option<Span>,
    pub(crate) signal: TestSignal,
    pub(crate) hz: f32,
    /// Frequency at the end of a sweep.
    pub(crate) last_hz: f32,
    pub(crate) drift_hz: f32,
    pub(crate) height_mv: Course,
    pub(crate) width_ms: Course,
    pub(crate) offset_mv: Course,
    pub(crate) drift_mv: Course,
}

/// Adds the test signal, drift and offset of a step to rows at consecutive instants a `frame` apart, the first row `from`.
#[inline(never)]
pub(crate) fn add_to<R: BlockRows + ?Sized>(
    conditions: &TestConditions,
    beat: &TestBeat,
    onset: Instant,
    instants: &[Instant],
    frame: Span,
    rows: &mut R,
    from: usize,
) {
    let wave = Wave::of(conditions, frame);
    let frame_s = frame.as_secs();
    let drift = Frequency::hz(conditions.drift_hz);
    for (row, now) in (from..).zip(instants.iter().copied()) {
        let since = now.since(conditions.start);
        let drift_mv = conditions.drift_mv.at(since);
        let drift = if drift_mv == 0.0 { 0.0 } else { 0.5 * drift_mv * triangle(drift.phase_after(since)) };
        // A beat ends on its own, so that a step may change within it.
        let wave_mv = if wave.is_flat() { 0.0 } else { conditions.height_mv.at(since) * wave.at(since) };
        let mv = conditions.offset_mv.at(since) + drift + beat.at(onset, now, frame_s) + wave_mv;
        rows.set_leads(row, rows.leads(row).map(|lead| lead + mv));
    }
}

/// A test signal without beats, of height 1.
enum Wave {
    Flat,
    Level,
    /// For `length` at the start of each `period` up by `high`, else `low`; as means over a frame.
    Pulses {
        train: Train,
        low: f32,
    },
    Triangle(Frequency),
    Sine(Frequency),
    Sweep(Sweep),
}

impl Wave {
    fn of(conditions: &TestConditions, frame: Span) -> Wave {
        let frequency = Frequency::hz(conditions.hz);
        // By way of the frequency a minute, which is a round number more often: 0.1 Hz is 6 a minute exactly.
        let period = Frequency::hz(60.0 * conditions.hz).periods(60);
        let pulses = |length: Span, low| Wave::Pulses { train: Train { period, length, frame }, low };
        match conditions.signal {
            TestSignal::None | TestSignal::TriangularQrs => Wave::Flat,
            TestSignal::Level => Wave::Level,
            TestSignal::Square => pulses(Span::from_ticks(period.ticks() / 2), -0.5),
            TestSignal::Triangle => Wave::Triangle(frequency),
            TestSignal::Sine => Wave::Sine(frequency),
            TestSignal::Sweep => {
                Wave::Sweep(Sweep::new(conditions.hz, conditions.last_hz, conditions.duration.unwrap_or(Span::ZERO)))
            }
            TestSignal::Impulses => pulses(Span::from_secs(0.001 * conditions.width_ms.at(Span::ZERO)), 0.0),
        }
    }

    fn is_flat(&self) -> bool {
        matches!(self, Wave::Flat)
    }

    /// The value at `since` from the start of the step.
    fn at(&self, since: Span) -> f32 {
        match self {
            Wave::Flat => 0.0,
            Wave::Level => 1.0,
            Wave::Pulses { train, low } => low + train.share(since),
            Wave::Triangle(frequency) => 0.5 * triangle(frequency.phase_after(since)),
            Wave::Sine(frequency) => 0.5 * math::sin_turn(frequency.phase_after(since)),
            Wave::Sweep(sweep) => 0.5 * math::sin_turn(sweep.phase(since)),
        }
    }
}

/// Pulses of a length, one at the start of each period.
struct Train {
    period: Span,
    length: Span,
    frame: Span,
}

impl Train {
    /// How much of the frame that starts at `since` lies within a pulse, 0 to 1.
    fn share(&self, since: Span) -> f32 {
        let from = since.ticks() % self.period.ticks().max(1);
        let within = self.covered(from.saturating_add(self.frame.ticks())).saturating_sub(self.covered(from));
        within as f32 / self.frame.ticks() as f32
    }

    /// Ticks within pulses from the start of a period until `until`.
    fn covered(&self, until: u64) -> u64 {
        let period = self.period.ticks().max(1);
        let length = self.length.ticks().min(period);
        (until / period) * length + (until % period).min(length)
    }
}

/// A triangle wave of a phase: 0, up to 1, down to -1, back to 0.
fn triangle(phase: u32) -> f32 {
    let quarter = (phase as i32) as f32 * (1.0 / 1_073_741_824.0);
    // From -2 to 2 turns of a quarter.
    if quarter > 1.0 {
        2.0 - quarter
    } else if quarter < -1.0 {
        -2.0 - quarter
    } else {
        quarter
    }
}
