//! The table of every setting: its path, kind, unit and range.
//!
//! Every layer reads this table: the JSON script takes its keys, ranges and schema from it, ramps and live changes
//! address a [`Field`], the reference page prints it.
//! A new setting is a new row here and a reader in the module that uses it.

use crate::anatomy::PressureSite;
use core::fmt;

/// The kind of a field's values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FieldKind {
    /// Any number within the range.
    Number,
    /// 0 for off, 1 for on.
    Switch,
    /// A whole number.
    Count,
    /// A choice: documents name it by one of these words, and its value is the word's place.
    Choice(&'static [&'static str]),
}

/// The part of a row that the core itself reads while it plays.
///
/// Apart from [`FieldInfo`], so that a microcontroller's flash does not hold the texts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Limits {
    pub(crate) min: f32,
    pub(crate) max: f32,
    pub(crate) ramps: bool,
    /// Whether only whole numbers are values.
    pub(crate) whole: bool,
}

/// Name, unit, range and meaning of a numeric field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldInfo {
    /// Path in a script document, groups separated by a dot; the last part carries the unit.
    pub path: &'static str,
    /// Unit as printed.
    pub unit: &'static str,
    /// Smallest value allowed.
    pub min: f32,
    /// Largest value allowed.
    pub max: f32,
    /// Whether a step may ramp it.
    pub ramps: bool,
    /// One line on what it means.
    pub doc: &'static str,
    /// Kind of its values.
    pub kind: FieldKind,
}

impl FieldInfo {
    /// Words of a choice; empty for other kinds.
    pub const fn words(&self) -> &'static [&'static str] {
        match self.kind {
            FieldKind::Choice(words) => words,
            _ => &[],
        }
    }

    /// Whether the field takes a value: within its range, and whole unless it is a number. NaN is refused.
    pub const fn allows(&self, value: f32) -> bool {
        Limits { min: self.min, max: self.max, ramps: self.ramps, whole: self.kind.is_whole() }.allow(value)
    }
}

impl FieldKind {
    const fn is_whole(&self) -> bool {
        !matches!(self, FieldKind::Number)
    }
}

/// The fields of the transducer at a site.
#[derive(Clone, Copy, Debug)]
pub struct TransducerFields {
    /// Level added, mmHg.
    pub level: Field,
    /// Whether it is closed to the patient.
    pub closed: Field,
    /// Natural frequency of the line, Hz; 0 for none.
    pub line_hz: Field,
    /// Damping ratio of the line.
    pub damping: Field,
}

macro_rules! kind {
    () => {
        FieldKind::Number
    };
    ($kind:expr) => {
        $kind
    };
}

/// The fields of patient and cuff as they are written, and between them four for each transducer.
macro_rules! fields {
    (
        patient { $($name:ident: $path:expr, $unit:expr, $min:literal ..= $max:literal, $ramps:literal, $doc:expr $(, $kind:expr)?;)* }
        transducers { $($site:ident, $group:literal, $adjective:literal: $level:ident, $closed:ident, $hz:ident, $damping:ident;)* }
        cuff { $($cuff:ident: $cuff_path:expr, $cuff_unit:expr, $cuff_min:literal ..= $cuff_max:literal, $cuff_ramps:literal, $cuff_doc:expr $(, $cuff_kind:expr)?;)* }
    ) => {
        table! {
            $($name: $path, $unit, $min ..= $max, $ramps, $doc, kind!($($kind)?);)*
            $(
                $level: concat!($group, ".level_mmhg"), "mmHg", -50.0 ..= 300.0, true,
                    concat!($adjective, " transducer: added to the pressure (zero offset, drift by a ramp, height: 7.4 mmHg per 10 cm), or the static level when closed."),
                    FieldKind::Number;
                $closed: concat!($group, ".closed"), "0/1", 0.0 ..= 1.0, false,
                    concat!($adjective, " transducer: 0 open to the patient, 1 closed to the patient, so that it sees the level alone."),
                    Switch;
                $hz: concat!($group, ".line_hz"), "Hz", 0.0 ..= 200.0, false,
                    concat!($adjective, " line: natural frequency; below 1 the line passes everything."),
                    FieldKind::Number;
                $damping: concat!($group, ".line_damping"), "1", 0.02 ..= 3.0, false,
                    concat!($adjective, " line: damping ratio."),
                    FieldKind::Number;
            )*
            $($cuff: $cuff_path, $cuff_unit, $cuff_min ..= $cuff_max, $cuff_ramps, $cuff_doc, kind!($($cuff_kind)?);)*
        }

        /// The fields of the transducer at a site.
        pub const fn transducer(site: PressureSite) -> TransducerFields {
            match site {
                $(PressureSite::$site => TransducerFields {
                    level: Field::$level,
                    closed: Field::$closed,
                    line_hz: Field::$hz,
                    damping: Field::$damping,
                },)*
            }
        }
    };
}

macro_rules! table {
    ($($name:ident: $path:expr, $unit:expr, $min:literal ..= $max:literal, $ramps:literal, $doc:expr, $kind:expr;)*) => {
        /// A setting of a step, as a number.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[repr(u8)]
        pub enum Field { $(#[doc = $doc] $name,)* }

        impl Field {
            /// Every field, in the order of the table.
            pub const ALL: &'static [Field] = &[$(Field::$name,)*];

            /// The field's row in the table.
            pub const fn info(self) -> &'static FieldInfo {
                match self {
                    $(Field::$name => &FieldInfo { path: $path, unit: $unit, min: $min, max: $max, ramps: $ramps, doc: $doc, kind: $kind },)*
                }
            }

            /// The field's range, and whether it may ramp.
            pub(crate) const fn limits(self) -> Limits {
                let (min, max) = RANGES[self as usize];
                Limits { min, max, ramps: RAMPS[self as usize], whole: WHOLE[self as usize] }
            }
        }

        static RANGES: [(f32, f32); FIELDS] = [$(($min, $max),)*];
        static RAMPS: [bool; FIELDS] = [$($ramps,)*];
        static WHOLE: [bool; FIELDS] = [$($kind.is_whole(),)*];
    };
}

use FieldKind::{Choice, Count, Switch};

fields! {
patient {
    Life: "life", "1", 0.0 ..= 2.0, false, "How far beats differ from each other as a person's do: naming it sets the fields of `variability` to their values at that life, except those that the step names too; none makes all beats of a kind alike.", Choice(LIVES);
    AvRatio: "heart.av_ratio", "1", 1.0 ..= 10.0, false, "Atrial impulses in one round of AV conduction: n:1 in flutter and high-grade block, n:(n-1) in type I and II; setting it sets the usual rate.", Count;
    RateBpm: "rate_bpm", "bpm", 5.0 ..= 400.0, true, "Ventricular rate that the rhythm holds; each rhythm allows a part of this range.";
    AtrialBpm: "heart.atrial_bpm", "bpm", 20.0 ..= 200.0, false, "Rate of atria that beat on their own (third-degree block, ventricular tachycardia, asynchronous pacing).";
    PauseS: "heart.pause_s", "s", 1.0 ..= 20.0, false, "Length of a sinus pause, or of the silence of an oversensing pacemaker.";
    PrematurePerMin: "heart.premature_per_min", "1/min", 0.0 ..= 60.0, false, "Premature beats a minute, on average, in rhythms that leave their number to chance; 0 takes the rhythm's own.";
    CouplingMs: "heart.coupling_ms", "ms", 0.0 ..= 2000.0, false, "From the beat before to a premature beat of the rhythm, QRS to QRS (P to P of atrial ones); 0 takes the rhythm's own.";
    FibrillationPercent: "heart.fibrillation_percent", "%", 0.0 ..= 40.0, false, "Atrial fibrillation: standard deviation of RR over its mean.";
    PacingMv: "pacing.amplitude_mv", "mV", -700.0 ..= 700.0, false, "Height of a pacing pulse in lead II; its sign is its polarity.";
    PacingMs: "pacing.width_ms", "ms", 0.1 ..= 2.0, false, "Width of a pacing pulse; rise and fall are a tenth of it, at least 0.01 ms.";
    OvershootPercent: "pacing.overshoot_percent", "%", 0.0 ..= 25.0, false, "Tail of opposite polarity after a pacing pulse, in percent of its height and at most 2 mV (method A); 0 for none.";
    OvershootCharge: "pacing.overshoot_charge", "1", 0.0 ..= 1.0, false, "Share of a pacing pulse's charge that the tail gives back: 1 makes it height times width over time constant (method B) and sets the percentage aside; 0 leaves it to that.";
    OvershootMs: "pacing.overshoot_ms", "ms", 4.0 ..= 100.0, false, "Time constant with which the tail of a pacing pulse decays.";
    PrMs: "ecg.pr_ms", "ms", 60.0 ..= 600.0, false, "From P onset to QRS onset in a conducted beat.";
    PrFollows: "ecg.pr_follows_rate", "0/1", 0.0 ..= 1.0, false, "1: PR is that of the body's resting rate and shortens as the rate rises, with its power of -0.3; naming ecg.pr_ms sets 0, so that PR is as set.", Switch;
    QrsMs: "ecg.qrs_ms", "ms", 30.0 ..= 200.0, false, "QRS duration of a normally conducted beat.";
    QtcMs: "ecg.qtc_ms", "ms", 250.0 ..= 650.0, false, "QT interval at 60 bpm; at other rates it follows the cube root of the preceding RR (Fridericia), up to 90 % of the RR.";
    EcgGain: "ecg.gain", "1", 0.05 ..= 5.0, true, "Factor on every ECG amplitude.";
    TPercent: "ecg.t_percent", "%", -150.0 ..= 300.0, true, "Height of T waves in percent of the usual one: 0 is flat, -100 inverted.";
    TentingPercent: "ecg.t_tenting_percent", "%", 0.0 ..= 100.0, true, "How narrow and symmetrical T waves are: 100, with t_percent about 220, as in hyperkalaemia; P waves become lower with it.";
    UMv: "ecg.u_mv", "mV", -0.5 ..= 1.0, true, "Height of a U wave in V3, its apex some 90 ms after the end of T; a fifth of it in II; at a gain of 1.";
    AlternansPercent: "ecg.alternans_percent", "%", 0.0 ..= 80.0, false, "Electrical alternans: how much lower QRS and T of every other beat are.";
    AxisDeg: "ecg.axis_deg", "deg", -180.0 ..= 180.0, true, "Turn of QRS and T in the frontal plane against the usual axis; positive to the right.";
    StInferiorMv: "st.inferior_mv", "mV", -1.0 ..= 1.2, true, "ST level from the J point into the T wave, mean of II, III and aVF; at a gain of 1.";
    StAnteriorMv: "st.anterior_mv", "mV", -1.0 ..= 1.2, true, "ST level from the J point into the T wave, mean of V1 to V4; at a gain of 1.";
    StLateralMv: "st.lateral_mv", "mV", -1.0 ..= 1.2, true, "ST level from the J point into the T wave, mean of I, aVL, V5 and V6; at a gain of 1.";
    TInferiorMv: "t.inferior_mv", "mV", -1.5 ..= 1.5, true, "Change of the T wave, mean of II, III and aVF: -0.5 inverts it there; at a gain of 1.";
    TAnteriorMv: "t.anterior_mv", "mV", -1.5 ..= 1.5, true, "Change of the T wave, mean of V1 to V4: -0.5 inverts it there; at a gain of 1.";
    TLateralMv: "t.lateral_mv", "mV", -1.5 ..= 1.5, true, "Change of the T wave, mean of I, aVL, V5 and V6: -0.5 inverts it there; at a gain of 1.";
    QInferiorMv: "q.inferior_mv", "mV", 0.0 ..= 1.5, true, "Early QRS force lost, mean of II, III and aVF: 0.7 leaves Q waves; at a gain of 1.";
    QAnteriorMv: "q.anterior_mv", "mV", 0.0 ..= 1.5, true, "Early QRS force lost, mean of V1 to V4: 0.7 leaves Q waves; at a gain of 1.";
    QLateralMv: "q.lateral_mv", "mV", 0.0 ..= 1.5, true, "Early QRS force lost, mean of I, aVL, V5 and V6: 0.7 leaves Q waves; at a gain of 1.";
    BreathingRrMs: "variability.breathing_ms", "ms", 0.0 ..= 400.0, false, "Sinus arrhythmia: longest less shortest RR interval over a few breaths, where a breath has three beats or more; the shortest lies about the end of inspiration.";
    VerySlowRrMs: "variability.very_slow_ms", "ms", 0.0 ..= 200.0, false, "Random RR change below 0.04 Hz, with a spectrum of 1/f: standard deviation over hours, of which five minutes have some 0.7; shrinks with the square of RR above the body's resting rate.";
    SlowRrMs: "variability.slow_ms", "ms", 0.0 ..= 200.0, false, "Random RR change in the low-frequency band (about 0.1 Hz): standard deviation; shrinks with the square of RR above the body's resting rate.";
    FastRrMs: "variability.fast_ms", "ms", 0.0 ..= 200.0, false, "Random RR change in the high-frequency band (about 0.25 Hz): standard deviation; shrinks with the square of RR above the body's resting rate.";
    PrSdMs: "variability.pr_ms", "ms", 0.0 ..= 20.0, false, "Random PR change from beat to beat: standard deviation.";
    QtSdMs: "variability.qt_ms", "ms", 0.0 ..= 20.0, false, "Random QT change from beat to beat: standard deviation.";
    QtLagS: "variability.qt_lag_s", "s", 0.0 ..= 300.0, false, "Hysteresis of QT: time in which it follows a change of RR by 63 %; 0 follows the preceding RR at once.";
    CouplingSdMs: "variability.coupling_ms", "ms", 0.0 ..= 100.0, false, "Random change of the coupling of premature beats: standard deviation.";
    PausePercent: "variability.pause_percent", "%", 0.0 ..= 80.0, false, "How far sinus pauses, and the number of beats between pauses or blocked beats, differ from those set, either way.";
    FocusPercent: "variability.focus_percent", "%", 0.0 ..= 20.0, false, "Random change of the interval of a focus below the atria (escape rhythms, tachycardias): standard deviation over its mean.";
    ShapePercent: "variability.shape_percent", "%", 0.0 ..= 20.0, false, "Random change of each beat's QRS: standard deviation of the size of each of its waves, and of the whole by half as much.";
    QrsSdPercent: "variability.qrs_percent", "%", 0.0 ..= 10.0, false, "Random change of QRS duration from beat to beat: standard deviation.";
    TSdPercent: "variability.t_percent", "%", 0.0 ..= 30.0, false, "Random change of the T wave's height from beat to beat: standard deviation.";
    AxisBreathDeg: "variability.axis_deg", "deg", 0.0 ..= 30.0, false, "Turn of the axis over a breath, from empty to full lungs.";
    PersonPercent: "variability.person_percent", "%", 0.0 ..= 30.0, false, "How far the person that the seed chooses differs from the body's usual shapes: standard deviation of the size of each QRS wave; of P by twice, of T and RR variability by three times, of the ST segment by four times as much, of the axis by 0.6 degrees for each percent, of the direction of T and P by about as much.";
    BackgroundMv: "variability.noise_mv", "mV", 0.0 ..= 0.2, false, "Noise that every recording has, each lead its own: mV RMS; six tenths of its power below 0.5 Hz, a fifth up to 100 Hz, of which each lead has its own share.";
    BreathsPerMin: "breathing.rate_per_min", "breaths/min", 0.0 ..= 150.0, true, "Breaths a minute; 0 is apnoea.";
    BreathDepthOhm: "breathing.depth_ohm", "ohm", 0.0 ..= 10.0, true, "Impedance change of a breath, base to peak; 0 is apnoea.";
    BaseOhm: "breathing.base_ohm", "ohm", 100.0 ..= 3000.0, true, "Base impedance between the electrodes.";
    ExpirationRatio: "breathing.expiration_ratio", "1", 0.5 ..= 4.0, false, "Expiration time over inspiration time: 2 is an I:E of 1:2.";
    CardiacOhm: "breathing.cardiac_ohm", "ohm", 0.0 ..= 2.0, true, "Impedance change of each heartbeat (cardiac artefact), base to peak.";
    BreathLead: "breathing.lead_i", "0/1", 0.0 ..= 1.0, false, "Electrodes of the impedance: 0 right arm to left leg; 1 right to left arm, where breaths show at 60 % and heartbeats at 150 %.", Switch;
    Ventilated: "breathing.ventilated", "0/1", 0.0 ..= 1.0, false, "Shape of a breath: 0 one's own, 1 a ventilator's (filled fast, emptied by recoil).", Switch;
    Obstructed: "breathing.obstructed", "0/1", 0.0 ..= 1.0, false, "Throat: 0 open; 1 closed, so that the chest moves against it and no air flows (obstructive apnoea); the impedance falls at each effort.", Switch;
    BreathPauseS: "breathing.pause_s", "s", 0.0 ..= 60.0, false, "Periodic breathing: length of the pauses, from the end of a breath to the start of the next; 0 for none.";
    BreathPauseEveryS: "breathing.pause_every_s", "s", 5.0 ..= 300.0, false, "Periodic breathing: from one pause to the next, to the nearest whole breath.";
    BreathWaxing: "breathing.waxing_percent", "%", 0.0 ..= 100.0, false, "Periodic breathing: how much shallower the breaths next to a pause are.";
    SighEvery: "breathing.sigh_every", "breaths", 0.0 ..= 500.0, false, "A breath 2.5 times as deep after this many; 0 for none.", Count;
    BreathIrregular: "breathing.irregular_percent", "%", 0.0 ..= 30.0, false, "Random change of the length and of the depth of each breath: standard deviation over the mean; the mean rate holds.";
    BreathingGain: "breathing.ecg_percent", "%", 0.0 ..= 30.0, false, "Change of ECG amplitude over a breath, peak to peak.";
    MainsMv: "artefact.mains_mv", "mV", 0.0 ..= 10.0, true, "Mains hum: mV RMS in I, II, III and V1 to V6, 0.87 of it in aVR, aVL and aVF, as for all noise.";
    MainsHz: "artefact.mains_hz", "Hz", 45.0 ..= 65.0, false, "Mains frequency.";
    MainsDriftHz: "artefact.mains_drift_hz", "Hz", 0.0 ..= 1.0, false, "How far the mains frequency drifts to either side, within half a minute; 0 keeps it exact.";
    MainsHarmonics: "artefact.mains_harmonics_percent", "%", 0.0 ..= 50.0, false, "Third harmonic of the mains over its fundamental; the fifth is half as large. The RMS stays that of mains_mv.";
    WanderMv: "artefact.wander_mv", "mV", 0.0 ..= 10.0, true, "Slow random baseline wander below 0.6 Hz: mV RMS.";
    BreathingWanderMv: "artefact.breathing_mv", "mV", -10.0 ..= 10.0, true, "Baseline that moves with breathing: rise from empty to full lungs in lead II, mV peak to peak.";
    MuscleMv: "artefact.muscle_mv", "mV", 0.0 ..= 10.0, true, "Muscle noise around 95 Hz, at each electrode its own: mV RMS.";
    MotionMv: "artefact.motion_mv", "mV", 0.0 ..= 10.0, true, "Motion in bursts of 2 to 5 s, one every 8 s: mV RMS within a burst.";
    SurgeryMv: "artefact.surgery_mv", "mV", 0.0 ..= 10.0, true, "High-frequency surgery as long as it is set: broad-band noise pulsing at twice the mains frequency, mV RMS.";
    ElectrodeMv: "artefact.electrode_mv", "mV", 0.0 ..= 10.0, true, "Electrodes that shift on the skin, 0.5 to 12 Hz, where QRS detectors listen: mV RMS.";
    ElectrodeBurstS: "artefact.electrode_burst_s", "s", 0.0 ..= 60.0, false, "Length of bursts of electrode noise; 0 for noise without a break.";
    ElectrodeEveryS: "artefact.electrode_every_s", "s", 1.0 ..= 300.0, false, "One burst of electrode noise in this time, somewhere in it.";
    TremorMv: "artefact.tremor_mv", "mV", 0.0 ..= 10.0, true, "A right arm that moves in a rhythm, as in tremor or with a brush in the hand: mV RMS in I and II; none in III, a third in V1 to V6.";
    TremorHz: "artefact.tremor_hz", "Hz", 2.0 ..= 12.0, false, "Rate of that rhythm.";
    CompressionMv: "artefact.compression_mv", "mV", 0.0 ..= 10.0, true, "Chest compressions as they move the electrodes: mV RMS.";
    CompressionsPerMin: "artefact.compressions_per_min", "1/min", 60.0 ..= 160.0, false, "Rate of the compressions.";
    CompressionMmhg: "artefact.compression_mmhg", "mmHg", 0.0 ..= 150.0, true, "Chest compressions as they press on heart and vessels: rise of the arterial pressure at each, for whole compressions within the step; the right atrium rises by nearly as much.";
    SwapArms: "artefact.swap_ra_la", "0/1", 0.0 ..= 1.0, false, "1: the electrodes RA and LA are interchanged: I upside down, II and III in each other's place.", Switch;
    OffRa: "artefact.off_ra", "1", 0.0 ..= 1.0, false, "1: electrode RA is off, which flattens II; with two limb electrodes off every lead is flat.", Switch;
    OffLa: "artefact.off_la", "1", 0.0 ..= 1.0, false, "1: electrode LA is off, which flattens I; with two limb electrodes off every lead is flat.", Switch;
    OffLl: "artefact.off_ll", "1", 0.0 ..= 1.0, false, "1: electrode LL is off, which flattens II; with two limb electrodes off every lead is flat.", Switch;
    OffV1: "artefact.off_v1", "1", 0.0 ..= 1.0, false, "1: electrode V1 is off; its lead is flat.", Switch;
    OffV2: "artefact.off_v2", "1", 0.0 ..= 1.0, false, "1: electrode V2 is off; its lead is flat.", Switch;
    OffV3: "artefact.off_v3", "1", 0.0 ..= 1.0, false, "1: electrode V3 is off; its lead is flat.", Switch;
    OffV4: "artefact.off_v4", "1", 0.0 ..= 1.0, false, "1: electrode V4 is off; its lead is flat.", Switch;
    OffV5: "artefact.off_v5", "1", 0.0 ..= 1.0, false, "1: electrode V5 is off; its lead is flat.", Switch;
    OffV6: "artefact.off_v6", "1", 0.0 ..= 1.0, false, "1: electrode V6 is off; its lead is flat.", Switch;
    TestSignal: "test.signal", "1", 0.0 ..= 7.0, false, "Test signal in place of the heart's waves.", Choice(TEST_SIGNALS);
    TestHeightMv: "test.height_mv", "mV", -20.0 ..= 20.0, true, "Test signal: peak of a triangular QRS or an impulse, level, or a wave from its lowest to its highest; a QRS takes the value at its onset.";
    TestWidthMs: "test.width_ms", "ms", 1.0 ..= 2000.0, false, "Test signal: base of a triangular QRS, or length of an impulse.";
    TestHz: "test.hz", "Hz", 0.01 ..= 1000.0, false, "Test signal: frequency of a wave or of impulses; where a sweep starts.";
    TestLastHz: "test.last_hz", "Hz", 0.01 ..= 1000.0, false, "Test signal: where a sweep ends, with the step.";
    TestTMv: "test.t_mv", "mV", -10.0 ..= 10.0, true, "Test signal: T wave after a triangular QRS, 180 ms long, QT 350 ms.";
    TestOffsetMv: "test.offset_mv", "mV", -400.0 ..= 400.0, true, "Offset under any ECG, in I, II and V1 to V6.";
    TestDriftMv: "test.drift_mv", "mV", 0.0 ..= 20.0, true, "Drift under any ECG, in I, II and V1 to V6: a triangle wave, lowest to highest.";
    TestDriftHz: "test.drift_hz", "Hz", 0.01 ..= 10.0, false, "Drift: frequency.";
    ArterialSystolic: "arterial.systolic_mmhg", "mmHg", 10.0 ..= 320.0, true, "Arterial systolic pressure at a steady rate.";
    ArterialDiastolic: "arterial.diastolic_mmhg", "mmHg", 5.0 ..= 300.0, true, "Arterial diastolic pressure at a steady rate.";
    ArterialSwing: "arterial.breathing_mmhg", "mmHg", 0.0 ..= 40.0, true, "Fall of arterial pressure from expiration to inspiration.";
    PulseVariation: "arterial.variation_percent", "%", 0.0 ..= 60.0, true, "Pulse-pressure variation over a breath: 100 (largest - smallest) / mean of the two; largest with full lungs, as in a ventilated patient.";
    Alternans: "arterial.alternans_mmhg", "mmHg", 0.0 ..= 60.0, true, "Pulsus alternans: by how much every other beat's systolic pressure is lower; at most 80 % of the pulse pressure is taken.";
    ChestBreathing: "chest.breathing_mmhg", "mmHg", -20.0 ..= 20.0, true, "Fall of the pressures inside the chest (all but arterial and femoral, half of it in intracranial) with full lungs, in step with the lung volume; negative when a ventilator raises them.";
    FemoralSystolic: "femoral.systolic_mmhg", "mmHg", 0.0 ..= 320.0, true, "Femoral systolic pressure; 0 takes the arterial one.";
    FemoralDiastolic: "femoral.diastolic_mmhg", "mmHg", 0.0 ..= 300.0, true, "Femoral diastolic pressure; 0 takes the arterial one.";
    PulmonarySystolic: "pulmonary.systolic_mmhg", "mmHg", 4.0 ..= 150.0, true, "Pulmonary artery systolic pressure.";
    PulmonaryDiastolic: "pulmonary.diastolic_mmhg", "mmHg", 1.0 ..= 120.0, true, "Pulmonary artery diastolic pressure.";
    PulmonaryWhip: "pulmonary.whip_mmhg", "mmHg", 0.0 ..= 30.0, false, "Catheter whip: swing with which each beat strikes the line, which must have a natural frequency.";
    VenousMean: "venous.mean_mmhg", "mmHg", -10.0 ..= 60.0, true, "Mean pressure of central vein and right atrium.";
    VenousWave: "venous.wave_mmhg", "mmHg", 0.0 ..= 20.0, true, "Height of the a wave of central vein and right atrium; c, x, v and y go with it.";
    RightVentricleSystolic: "right_ventricle.systolic_mmhg", "mmHg", 0.0 ..= 150.0, true, "Right ventricular systolic pressure; 0 takes the pulmonary artery's.";
    RightVentricleEndDiastolic: "right_ventricle.end_diastolic_mmhg", "mmHg", 0.5 ..= 50.0, true, "Right ventricular end-diastolic pressure.";
    LeftVentricleSystolic: "left_ventricle.systolic_mmhg", "mmHg", 0.0 ..= 320.0, true, "Left ventricular systolic pressure; 0 takes the arterial one.";
    LeftVentricleEndDiastolic: "left_ventricle.end_diastolic_mmhg", "mmHg", 0.5 ..= 60.0, true, "Left ventricular end-diastolic pressure.";
    LeftAtriumMean: "left_atrium.mean_mmhg", "mmHg", -10.0 ..= 60.0, true, "Mean pressure of left atrium and wedged pulmonary artery.";
    LeftAtriumWave: "left_atrium.wave_mmhg", "mmHg", 0.0 ..= 30.0, true, "Height of the a wave of left atrium and wedge; c, x, v and y go with it.";
    IntracranialMean: "intracranial.mean_mmhg", "mmHg", -10.0 ..= 120.0, true, "Mean intracranial pressure.";
    IntracranialPulse: "intracranial.pulse_mmhg", "mmHg", 0.0 ..= 40.0, true, "Intracranial pulse, foot to top.";
    IntracranialSecond: "intracranial.second_percent", "%", 50.0 ..= 160.0, true, "Height of the second wave of the intracranial pulse against the first: under 100 normal, over 100 in a stiff brain.";
}
transducers {
    Arterial, "arterial", "Arterial": ArterialLevel, ArterialClosed, ArterialLineHz, ArterialDamping;
    Femoral, "femoral", "Femoral": FemoralLevel, FemoralClosed, FemoralLineHz, FemoralDamping;
    Pulmonary, "pulmonary", "Pulmonary artery": PulmonaryLevel, PulmonaryClosed, PulmonaryLineHz, PulmonaryDamping;
    Venous, "venous", "Central venous": VenousLevel, VenousClosed, VenousLineHz, VenousDamping;
    RightAtrium, "right_atrium", "Right atrial": RightAtriumLevel, RightAtriumClosed, RightAtriumLineHz, RightAtriumDamping;
    RightVentricle, "right_ventricle", "Right ventricular": RightVentricleLevel, RightVentricleClosed, RightVentricleLineHz, RightVentricleDamping;
    LeftVentricle, "left_ventricle", "Left ventricular": LeftVentricleLevel, LeftVentricleClosed, LeftVentricleLineHz, LeftVentricleDamping;
    LeftAtrium, "left_atrium", "Left atrial": LeftAtriumLevel, LeftAtriumClosed, LeftAtriumLineHz, LeftAtriumDamping;
    Wedge, "wedge", "Wedge": WedgeLevel, WedgeClosed, WedgeLineHz, WedgeDamping;
    Intracranial, "intracranial", "Intracranial": IntracranialLevel, IntracranialClosed, IntracranialLineHz, IntracranialDamping;
}
cuff {
    CuffInflate: "cuff.inflate_mmhg", "mmHg", 0.0 ..= 350.0, false, "Cuff: pressure to which each step inflates it at its start, a measurement; 0 leaves it as it is.";
    CuffInflation: "cuff.inflation_mmhg_per_s", "mmHg/s", 1.0 ..= 200.0, false, "Cuff: rate of inflation.";
    CuffDeflation: "cuff.deflation_mmhg_per_s", "mmHg/s", 0.0 ..= 50.0, false, "Cuff: rate of deflation; 0 keeps the pressure, but for the leak.";
    CuffStep: "cuff.step_mmhg", "mmHg", 0.0 ..= 30.0, false, "Cuff: steps in which it deflates at that rate; 0 for a straight line.";
    CuffLeak: "cuff.leak_mmhg_per_min", "mmHg/min", 0.0 ..= 120.0, false, "Cuff: leak once it is inflated.";
    CuffVentAt: "cuff.vent_mmhg", "mmHg", 1.0 ..= 200.0, false, "Cuff: pressure at which the deflation ends and the valve opens.";
    CuffVent: "cuff.vent", "0/1", 0.0 ..= 1.0, false, "Cuff: 1 opens the valve at the start of the step.", Switch;
    CuffLimit: "cuff.limit_mmhg", "mmHg", 50.0 ..= 350.0, false, "Cuff: over-pressure that opens the valve during inflation.";
    CuffOscillation: "cuff.oscillation_mmhg", "mmHg", 0.0 ..= 10.0, true, "Cuff: largest oscillation, foot to peak, at the mean arterial pressure.";
    CuffMotion: "cuff.motion_mmhg", "mmHg", 0.0 ..= 20.0, true, "Cuff: pressure of an arm that moves, in the bursts of artefact.motion_mv: mmHg RMS within a burst.";
    CuffSystolicShare: "cuff.systolic_percent", "%", 20.0 ..= 90.0, false, "Cuff: oscillation at the systolic pressure, share of the largest.";
    CuffDiastolicShare: "cuff.diastolic_percent", "%", 30.0 ..= 95.0, false, "Cuff: oscillation at the diastolic pressure, share of the largest.";
}
}

impl Limits {
    /// Whether a value lies within, and is whole where it must be; NaN does not.
    pub(crate) const fn allow(self, value: f32) -> bool {
        value >= self.min && value <= self.max && (!self.whole || value as i32 as f32 == value)
    }

    /// Zero, or the end of the range nearest to it.
    pub(crate) const fn nearest_to_zero(self) -> f32 {
        if self.min > 0.0 { self.min } else { 0.0 }
    }
}

/// Words of [`Field::Life`].
pub(crate) const LIVES: &[&str] = &["none", "resting", "lively"];

/// Words of [`Field::TestSignal`], in the order of [`crate::test_signal::TestSignal::ALL`].
const TEST_SIGNALS: &[&str] = &["none", "triangular-qrs", "level", "square", "triangle", "sine", "sweep", "impulses"];

/// Number of fields.
pub const FIELDS: usize = Field::ALL.len();

/// A value outside a field's range, not a number, or not whole where it must be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutOfRange {
    /// The field.
    pub field: Field,
    /// The value refused.
    pub value: f32,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (info, value) = (self.field.info(), self.value);
        match info.kind {
            FieldKind::Number => {
                let [space, unit] = after_number(info.unit);
                write!(f, "{} = {value} is outside {} to {}{space}{unit}", info.path, info.min, info.max)
            }
            FieldKind::Switch => write!(f, "{} = {value} is neither 0 nor 1", info.path),
            FieldKind::Count | FieldKind::Choice(_) => {
                write!(f, "{} = {value} is no whole number from {} to {}", info.path, info.min, info.max)
            }
        }
    }
}

/// A unit as it follows a number, after a space: nothing for a ratio, whose unit is 1.
pub(crate) fn after_number(unit: &'static str) -> [&'static str; 2] {
    if unit == "1" { ["", ""] } else { [" ", unit] }
}

impl core::error::Error for OutOfRange {}
