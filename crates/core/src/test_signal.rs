//! Test signals: what the clauses for ECG monitors and recorders describe, in place of the heart's waves.
//!
//! The heart goes on keeping time, so a triangular QRS comes where the rhythm has its beats and the truth tells it; nothing
//! of a heart is drawn. A T wave that the next QRS overtakes (from 171 bpm on) ends there. All eight independent leads carry the same potential `s`, as in calibration signals, so III is 0,
//! aVR is `-s`, aVL and aVF are `s/2`. Artefacts and pacing pulses add to it as to any ECG.
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

use crate::anatomy::BeatCode;
use crate::block::Rows;
use crate::course::Course;
use crate::field::Field;
use crate::frequency::Frequency;
use crate::math;
use crate::time::{Instant, Span};
use crate::truth;

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

/// Start and length of the T wave after a triangular QRS, s: QT 350 ms, T 180 ms (EC13 4.1.2.1 c).
const T_START_S: f32 = 0.17;
const T_LENGTH_S: f32 = 0.18;
/// From the QRS onset to the end of T.
const QT: Span = Span::millis(350);

/// The last triangular QRS with its T wave: what it was when it started. When, the heart knows.
#[derive(Clone, Debug, Default)]
pub(crate) struct Beat {
    width_s: f32,
    qrs_mv: f32,
    t_mv: f32,
}

impl Beat {
    /// A QRS of the size and width that a step's values have at its onset.
    pub(crate) fn new(value: &impl Fn(Field) -> f32) -> Beat {
        let (qrs_mv, t_mv) = (value(Field::TestHeightMv), value(Field::TestTMv));
        Beat { width_s: 0.001 * value(Field::TestWidthMs), qrs_mv, t_mv }
    }

    /// What the truth says of it.
    pub(crate) fn told(&self, onset: Instant, code: BeatCode) -> truth::Beat {
        let end = onset.shifted(self.width_s);
        let t_end = if self.t_mv == 0.0 { end } else { end.max(onset.plus(QT)) };
        truth::Beat { onset, peak: onset.shifted(0.5 * self.width_s), end, t_end, p_onset: None, code }
    }

    /// Whether anything of a beat with this onset is left at `now`, or still to come.
    pub(crate) fn lasts(&self, onset: Instant, now: Instant) -> bool {
        self.width_s != 0.0 && now.since(onset) <= Span::secs(3)
    }

    fn at(&self, onset: Instant, now: Instant) -> f32 {
        if now < onset || !self.lasts(onset, now) {
            return 0.0;
        }
        let t = now.since(onset).as_secs();
        let qrs = math::max(1.0 - math::abs(2.0 * t / self.width_s - 1.0), 0.0);
        let share = (t - T_START_S) * (1.0 / T_LENGTH_S);
        let wave = if share > 0.0 && share < 1.0 { math::sin_turn(math::phase_of(0.5 * share)) } else { 0.0 };
        self.qrs_mv * qrs + self.t_mv * wave
    }
}

/// Whether a step that uses these fields has anything for [`add_to`] to add.
pub(crate) fn is_on(used: impl Fn(Field) -> bool) -> bool {
    [Field::TestSignal, Field::TestOffsetMv, Field::TestDriftMv].into_iter().any(used)
}

/// What is asked of the test signals over a step.
pub(crate) struct Demand {
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

/// Adds the test signal, drift and offset of a step to rows at consecutive instants, the first of them `from`.
#[inline(never)]
pub(crate) fn add_to<R: Rows + ?Sized>(
    demand: &Demand,
    beat: &Beat,
    onset: Instant,
    instants: &[Instant],
    rows: &mut R,
    from: usize,
) {
    let drift = Frequency::hz(demand.drift_hz);
    for (row, now) in (from..).zip(instants.iter().copied()) {
        let since = now.since(demand.start);
        let drift_mv = demand.drift_mv.at(since);
        let drift = if drift_mv == 0.0 { 0.0 } else { 0.5 * drift_mv * triangle(turns(drift, since)) };
        // A beat ends on its own, so that a step may change within it.
        let mv = demand.offset_mv.at(since) + drift + beat.at(onset, now) + wave_mv(demand, since);
        rows.set_leads(row, rows.leads(row).map(|lead| lead + mv));
    }
}

/// Phase of a frequency since the start of the step.
fn turns(frequency: Frequency, since: Span) -> u32 {
    frequency.phase(Instant::ZERO.plus(since))
}

fn wave_mv(demand: &Demand, since: Span) -> f32 {
    let phase = || turns(Frequency::hz(demand.hz), since);
    let height_mv = match demand.signal {
        TestSignal::None | TestSignal::TriangularQrs => return 0.0,
        _ => demand.height_mv.at(since),
    };
    match demand.signal {
        TestSignal::Square => height_mv * if phase() < 1 << 31 { 0.5 } else { -0.5 },
        TestSignal::Triangle => 0.5 * height_mv * triangle(phase()),
        TestSignal::Sine => 0.5 * height_mv * math::sin_turn(phase()),
        TestSignal::Sweep => 0.5 * height_mv * math::sin_turn(swept(demand, since)),
        TestSignal::Impulses => {
            let period_s = 1.0 / demand.hz;
            let into_s = phase() as f32 * (1.0 / 4_294_967_296.0) * period_s;
            if into_s < 0.001 * demand.width_ms.at(since) { height_mv } else { 0.0 }
        }
        _ => height_mv,
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

/// Phase of the sweep: the frequency is `f0 (f1/f0)^(t/D)`, and its integral `f0 D / ln(f1/f0) ((f1/f0)^(t/D) - 1)`.
fn swept(demand: &Demand, since: Span) -> u32 {
    let Demand { hz: from_hz, last_hz: to_hz, .. } = *demand;
    let growth = math::ln(to_hz / from_hz);
    let length_s = demand.duration.map_or(0.0, Span::as_secs);
    if math::abs(growth) < 1e-3 || length_s <= 0.0 {
        return turns(Frequency::hz(from_hz), since);
    }
    let share = since.as_secs() / length_s;
    math::phase_of(from_hz * length_s / growth * (math::exp(growth * share) - 1.0))
}
