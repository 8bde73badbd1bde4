//! Settings of a step: a value for each [`Field`] and the two choices (rhythm, body).

use crate::body::{ADULT, BODIES, Body};
use crate::heart::catalogue::SINUS;
use crate::heart::rhythm::{ADULT_RESTING_BPM, Rhythm};
use crate::life::{LIFE, LifeRow};
use crate::test_signal::TestSignal;

pub use crate::field::{FIELDS, Field, FieldInfo, FieldKind, OutOfRange};

/// Everything a step plays: a value for each field, the rhythm and the body.
///
/// Values are within their fields' ranges by construction. Rules between two of them are checked by
/// [`crate::script::Script::new`].
#[derive(Clone, Copy, Debug)]
pub struct Settings {
    values: [f32; FIELDS],
    rhythm: &'static Rhythm,
    body: &'static Body,
}

impl Settings {
    /// A resting patient of this body in this rhythm, at the rhythm's usual rate.
    pub const fn new(body: &'static Body, rhythm: &'static Rhythm) -> Settings {
        let mut settings = Settings { values: [0.0; FIELDS], rhythm, body };
        let mut i = 0;
        while i < FIELDS {
            // A field that no list names rests at zero, or at the end of its range nearest to zero.
            settings.values[i] = Field::ALL[i].limits().nearest_to_zero();
            i += 1;
        }
        settings.put(RESTING).with_body(body).with_rhythm(rhythm)
    }

    /// With the values of a step, which keep to their ranges.
    pub(crate) fn of(body: &'static Body, rhythm: &'static Rhythm, value: impl Fn(Field) -> f32) -> Settings {
        let mut settings = Settings { values: [0.0; FIELDS], rhythm, body };
        settings.values.iter_mut().zip(Field::ALL).for_each(|(place, field)| *place = value(*field));
        settings
    }

    const fn put(mut self, values: &[(Field, f32)]) -> Settings {
        let mut i = 0;
        while i < values.len() {
            let (field, value) = values[i];
            self.values[field as usize] = value;
            i += 1;
        }
        self
    }

    /// The same with another body: its intervals, pressures, breathing and life replace the values set, and the rhythm plays
    /// at its usual rate.
    pub const fn with_body(mut self, body: &'static Body) -> Settings {
        self.body = body;
        let rhythm = self.rhythm;
        self = self.put(body.values).put(&[(Field::PrFollows, 1.0)]);
        if self.get(Field::Life) > 0.0 {
            self = self.with_life();
        }
        self.with_rhythm(rhythm)
    }

    /// The same with the values that belong to the life set, but for those that the rhythm brings.
    const fn with_life(mut self) -> Settings {
        let mut i = 0;
        while i < LIFE.len() {
            let field = LIFE[i].field;
            self.values[field as usize] = self.resting(field);
            i += 1;
        }
        i = 0;
        while i < self.rhythm.values.len() {
            let (field, value) = self.rhythm.values[i];
            if life_of(field).is_some() {
                self.values[field as usize] = self.at_this_age(field, value);
            }
            i += 1;
        }
        self
    }

    /// A rhythm's value of a field, stated for an adult, in this body: intervals and rates as its own are to an adult's.
    const fn at_this_age(&self, field: Field, adult: f32) -> f32 {
        let faster = self.body.resting_bpm / ADULT_RESTING_BPM;
        let value = match field {
            Field::AtrialBpm => adult * faster,
            Field::BreathingRrMs | Field::PrSdMs => adult / faster,
            Field::PrMs => adult * resting_value(self.body, field) / resting_value(&ADULT, field),
            _ => return adult,
        };
        // To the whole beat and millisecond.
        (value + 0.5) as u32 as f32
    }

    /// The value of a field that no rhythm has set.
    const fn resting(&self, field: Field) -> f32 {
        match life_of(field) {
            Some(row) => row.value(self.get(Field::Life), self.body),
            None => resting_value(self.body, field),
        }
    }

    /// The same with another rhythm at its usual rate for the body.
    ///
    /// Values that belonged to the rhythm before go back to those of the body; those of the new one are set.
    pub const fn with_rhythm(mut self, rhythm: &'static Rhythm) -> Settings {
        let mut i = 0;
        while i < self.rhythm.values.len() {
            let field = self.rhythm.values[i].0;
            self.values[field as usize] = self.resting(field);
            i += 1;
        }
        self.rhythm = rhythm;
        i = 0;
        while i < rhythm.values.len() {
            let (field, value) = rhythm.values[i];
            self.values[field as usize] = self.at_this_age(field, value);
            i += 1;
        }
        self.values[Field::RateBpm as usize] = rhythm.usual_rate(self.body.resting_bpm, self.get(Field::AvRatio));
        self
    }

    /// The same with one field changed; the AV ratio changes the rate too, to the usual one at that ratio, and the life
    /// all fields that have a value for it.
    pub const fn with(mut self, field: Field, value: f32) -> Result<Settings, OutOfRange> {
        if !field.limits().allow(value) {
            return Err(OutOfRange { field, value });
        }
        self.values[field as usize] = value;
        if matches!(field, Field::Life) {
            self = self.with_life();
        }
        if matches!(field, Field::PrMs) {
            self.values[Field::PrFollows as usize] = 0.0;
        }
        if matches!(field, Field::AvRatio) {
            self.values[Field::RateBpm as usize] = self.rhythm.usual_rate(self.body.resting_bpm, value);
        }
        Ok(self)
    }

    /// As [`Settings::with`] for constants: a wrong literal does not compile.
    pub const fn lit(self, field: Field, value: f32) -> Settings {
        match self.with(field, value) {
            Ok(settings) => settings,
            Err(_) => panic!("setting out of range"),
        }
    }

    /// The value of a field.
    pub const fn get(&self, field: Field) -> f32 {
        self.values[field as usize]
    }

    /// The test signal chosen.
    pub const fn test_signal(&self) -> TestSignal {
        TestSignal::numbered(self.get(Field::TestSignal))
    }

    /// The rhythm.
    pub const fn rhythm(&self) -> &'static Rhythm {
        self.rhythm
    }

    /// The body.
    pub const fn body(&self) -> &'static Body {
        self.body
    }
}

/// Values of fields that neither body nor rhythm names.
const RESTING: &[(Field, f32)] = &[
    (Field::AvRatio, 1.0),
    (Field::AtrialBpm, 75.0),
    (Field::TremorHz, 5.0),
    (Field::CompressionsPerMin, 110.0),
    (Field::PauseS, 3.0),
    (Field::FibrillationPercent, 24.0),
    (Field::PrFollows, 1.0),
    (Field::PacingMv, 2.0),
    (Field::PacingMs, 1.0),
    (Field::EcgGain, 1.0),
    (Field::TPercent, 100.0),
    (Field::MainsHz, 50.0),
    (Field::TestHeightMv, 1.0),
    (Field::TestWidthMs, 100.0),
    (Field::TestHz, 1.0),
    (Field::TestLastHz, 150.0),
    (Field::TestDriftHz, 0.1),
    (Field::BreathPauseEveryS, 15.0),
    (Field::CuffInflation, 40.0),
    (Field::CuffDeflation, 3.0),
    (Field::CuffVentAt, 30.0),
    (Field::CuffSystolicShare, 50.0),
    (Field::CuffDiastolicShare, 80.0),
];

/// Every field's value in a resting patient of each of [`BODIES`] in sinus rhythm.
static RESTING_IN_SINUS: [[f32; FIELDS]; BODIES.len()] = {
    let mut values = [[0.0; FIELDS]; BODIES.len()];
    let mut i = 0;
    while i < BODIES.len() {
        values[i] = Settings::new(BODIES[i], &SINUS).values;
        i += 1;
    }
    values
};

/// The values that an image leaves out: those of a resting patient of the body with this number in sinus rhythm, of an adult for a body of
/// the image's own.
pub(crate) fn resting_in_sinus(body: usize) -> &'static [f32; FIELDS] {
    let [adult, ..] = &RESTING_IN_SINUS;
    RESTING_IN_SINUS.get(body).unwrap_or(adult)
}

const _: () = assert!(ADULT.resting_bpm == ADULT_RESTING_BPM);

/// The row of a field that life moves.
const fn life_of(field: Field) -> Option<&'static LifeRow> {
    let mut i = 0;
    while i < LIFE.len() {
        if LIFE[i].field as u8 == field as u8 {
            return Some(&LIFE[i]);
        }
        i += 1;
    }
    None
}

/// The value of a field in a resting patient of this body without life.
const fn resting_value(body: &Body, field: Field) -> f32 {
    let mut value = field.limits().nearest_to_zero();
    let mut i = 0;
    while i < RESTING.len() + body.values.len() {
        let (other, its) = if i < RESTING.len() { RESTING[i] } else { body.values[i - RESTING.len()] };
        if other as u8 == field as u8 {
            value = its;
        }
        i += 1;
    }
    value
}
