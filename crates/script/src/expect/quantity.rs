//! The table of a monitor's readings: word, unit, source of the value, and the default limit.

use super::limit::ReadingLimit;
use pulsewright_core::body::Age;
use pulsewright_core::frame::{Lead, PressureSite};
use pulsewright_core::settings::Settings;

/// The source of a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValueOrigin {
    /// Ventricular rate.
    Rate,
    /// Rate of arterial pulses.
    Pulse,
    /// A reading of the cuff: 0 systolic, 1 diastolic, 2 mean.
    Cuff(usize),
    /// Breaths a minute.
    Breaths,
    /// Systolic pressure at a site.
    Systolic(PressureSite),
    /// Diastolic pressure at a site.
    Diastolic(PressureSite),
    /// Mean pressure at a site.
    Mean(PressureSite),
    /// ST level in a lead, 60 ms after the J point against QRS onset.
    St(Lead),
    /// Not from the signal: a document must give the value, or the limit is a range.
    Typed,
}

/// A default limit: tolerances around the value, or a largest reading, with its source.
#[derive(Clone, Copy, Debug)]
enum Usual {
    /// Tolerance in the unit and in percent.
    Around(f64, Option<f64>, &'static str),
    /// Largest reading.
    AtMost(f64, &'static str),
    /// Largest reading for grown bodies and for the neonate.
    AtMostByBody([f64; 2], &'static str),
    /// None by default: documents must name one.
    Unsaid,
}

const RATE: Usual = Usual::Around(5.0, Some(10.0), "IEC 60601-2-27 201.12.1.101.15 / EC13 4.2.7, from memory");
const BREATHS: Usual = Usual::Around(2.0, None, "no standard; makers' printed specifications give 1 to 2 breaths/min");
const LINE: Usual = Usual::Around(4.0, Some(4.0), "IEC 60601-2-34, from memory");
const CUFF_STATIC: Usual = Usual::Around(3.0, Some(2.0), "IEC 80601-2-30 201.12.1.102, from memory");
const LEAK: Usual = Usual::AtMost(6.0, "OIML R 16-2: 6 mmHg/min at 250 mmHg");
const CEILING: Usual = Usual::AtMostByBody([330.0, 165.0], "IEC 80601-2-30 201.12.1.105, single fault, from memory");
const AMPLITUDE: Usual = Usual::Around(0.1, Some(20.0), "IEC 60601-2-27 201.12.1.101.1, as makers quote it");

macro_rules! quantities {
    ($($(#[$meta:meta])* $name:ident: $id:literal, $words:literal, $unit:literal, $origin:expr, $usual:expr;)*) => {
        /// A quantity that is read off a monitor.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[allow(missing_docs)] // The table below says what each is.
        pub enum Quantity { $($name,)* }

        impl Quantity {
            /// Every quantity, in the order of the table.
            pub const ALL: &'static [Quantity] = &[$(Quantity::$name,)*];

            /// Word in documents.
            pub const fn id(self) -> &'static str {
                match self { $(Quantity::$name => $id,)* }
            }

            /// Name for people.
            pub const fn name(self) -> &'static str {
                match self { $(Quantity::$name => $words,)* }
            }

            /// Unit of its values.
            pub const fn unit(self) -> &'static str {
                match self { $(Quantity::$name => $unit,)* }
            }

            /// The source of its value.
            pub const fn origin(self) -> ValueOrigin {
                match self { $(Quantity::$name => $origin,)* }
            }

            const fn usual(self) -> Usual {
                match self { $(Quantity::$name => $usual,)* }
            }
        }
    };
}

use PressureSite as Site;

quantities! {
    HeartRate: "heart-rate", "Heart rate", "bpm", ValueOrigin::Rate, RATE;
    PulseRate: "pulse-rate", "Pulse rate", "bpm", ValueOrigin::Pulse, Usual::Unsaid;
    RespirationRate: "respiration-rate", "Respiration rate", "breaths/min", ValueOrigin::Breaths, BREATHS;
    ArterialSystolic: "arterial-systolic", "Arterial systolic", "mmHg", ValueOrigin::Systolic(Site::Arterial), LINE;
    ArterialDiastolic: "arterial-diastolic", "Arterial diastolic", "mmHg", ValueOrigin::Diastolic(Site::Arterial), LINE;
    ArterialMean: "arterial-mean", "Arterial mean", "mmHg", ValueOrigin::Mean(Site::Arterial), LINE;
    FemoralSystolic: "femoral-systolic", "Femoral systolic", "mmHg", ValueOrigin::Systolic(Site::Femoral), LINE;
    FemoralDiastolic: "femoral-diastolic", "Femoral diastolic", "mmHg", ValueOrigin::Diastolic(Site::Femoral), LINE;
    FemoralMean: "femoral-mean", "Femoral mean", "mmHg", ValueOrigin::Mean(Site::Femoral), LINE;
    PulmonarySystolic: "pulmonary-systolic", "Pulmonary artery systolic", "mmHg", ValueOrigin::Systolic(Site::Pulmonary), LINE;
    PulmonaryDiastolic: "pulmonary-diastolic", "Pulmonary artery diastolic", "mmHg", ValueOrigin::Diastolic(Site::Pulmonary), LINE;
    PulmonaryMean: "pulmonary-mean", "Pulmonary artery mean", "mmHg", ValueOrigin::Mean(Site::Pulmonary), LINE;
    VenousMean: "venous-mean", "Central venous mean", "mmHg", ValueOrigin::Mean(Site::Venous), LINE;
    RightAtriumMean: "right-atrium-mean", "Right atrial mean", "mmHg", ValueOrigin::Mean(Site::RightAtrium), LINE;
    LeftAtriumMean: "left-atrium-mean", "Left atrial mean", "mmHg", ValueOrigin::Mean(Site::LeftAtrium), LINE;
    WedgeMean: "wedge-mean", "Wedge mean", "mmHg", ValueOrigin::Mean(Site::Wedge), LINE;
    IntracranialMean: "intracranial-mean", "Intracranial mean", "mmHg", ValueOrigin::Mean(Site::Intracranial), LINE;
    CuffSystolic: "cuff-systolic", "Cuff systolic", "mmHg", ValueOrigin::Cuff(0), Usual::Unsaid;
    CuffDiastolic: "cuff-diastolic", "Cuff diastolic", "mmHg", ValueOrigin::Cuff(1), Usual::Unsaid;
    CuffMean: "cuff-mean", "Cuff mean", "mmHg", ValueOrigin::Cuff(2), Usual::Unsaid;
    CuffPressure: "cuff-pressure", "Static cuff pressure", "mmHg", ValueOrigin::Typed, CUFF_STATIC;
    CuffLeak: "cuff-leak", "Cuff leak", "mmHg/min", ValueOrigin::Typed, LEAK;
    CuffCeiling: "cuff-ceiling", "Highest cuff pressure", "mmHg", ValueOrigin::Typed, CEILING;
    StI: "st-I", "ST level in I", "mV", ValueOrigin::St(Lead::I), Usual::Unsaid;
    StII: "st-II", "ST level in II", "mV", ValueOrigin::St(Lead::II), Usual::Unsaid;
    StIII: "st-III", "ST level in III", "mV", ValueOrigin::St(Lead::III), Usual::Unsaid;
    StAvr: "st-aVR", "ST level in aVR", "mV", ValueOrigin::St(Lead::AVR), Usual::Unsaid;
    StAvl: "st-aVL", "ST level in aVL", "mV", ValueOrigin::St(Lead::AVL), Usual::Unsaid;
    StAvf: "st-aVF", "ST level in aVF", "mV", ValueOrigin::St(Lead::AVF), Usual::Unsaid;
    StV1: "st-V1", "ST level in V1", "mV", ValueOrigin::St(Lead::V1), Usual::Unsaid;
    StV2: "st-V2", "ST level in V2", "mV", ValueOrigin::St(Lead::V2), Usual::Unsaid;
    StV3: "st-V3", "ST level in V3", "mV", ValueOrigin::St(Lead::V3), Usual::Unsaid;
    StV4: "st-V4", "ST level in V4", "mV", ValueOrigin::St(Lead::V4), Usual::Unsaid;
    StV5: "st-V5", "ST level in V5", "mV", ValueOrigin::St(Lead::V5), Usual::Unsaid;
    StV6: "st-V6", "ST level in V6", "mV", ValueOrigin::St(Lead::V6), Usual::Unsaid;
    EcgAmplitude: "ecg-amplitude", "Displayed ECG amplitude", "mV", ValueOrigin::Typed, AMPLITUDE;
}

impl Quantity {
    /// The quantity with this word.
    pub fn find(word: &str) -> Option<Quantity> {
        Quantity::ALL.iter().copied().find(|quantity| quantity.id() == word)
    }

    /// The lead that it is read in.
    pub fn lead(self) -> Option<Lead> {
        if let ValueOrigin::St(lead) = self.origin() { Some(lead) } else { None }
    }

    /// The limit when neither step nor document names one; `None` when no standard does.
    pub fn limit(self, settings: &Settings) -> Option<ReadingLimit> {
        let limit = match self.usual() {
            Usual::Around(absolute, percent, source) => ReadingLimit {
                tolerance: Some(absolute),
                tolerance_percent: percent,
                source: source.to_owned(),
                ..ReadingLimit::default()
            },
            Usual::AtMost(max, source) => {
                ReadingLimit { max: Some(max), source: source.to_owned(), ..ReadingLimit::default() }
            }
            Usual::AtMostByBody([grown, neonate], source) => {
                let max = if settings.body().age == Age::Neonate { neonate } else { grown };
                ReadingLimit { max: Some(max), source: source.to_owned(), ..ReadingLimit::default() }
            }
            Usual::Unsaid => return None,
        };
        Some(limit)
    }

    /// The default limit in words, for the reference.
    pub fn usual_words(self) -> (String, &'static str) {
        let unit = self.unit();
        match self.usual() {
            Usual::Around(absolute, None, source) => (format!("±{absolute} {unit}"), source),
            Usual::Around(absolute, Some(percent), source) => {
                (format!("larger of ±{absolute} {unit} and ±{percent} %"), source)
            }
            Usual::AtMost(max, source) => (format!("at most {max} {unit}"), source),
            Usual::AtMostByBody([grown, neonate], source) => {
                (format!("at most {grown} {unit}, neonate {neonate} {unit}"), source)
            }
            Usual::Unsaid => {
                ("none: a document must give it".to_owned(), "no standard gives one for a synthetic signal")
            }
        }
    }
}
