//! How far noise goes beyond its RMS.

use crate::field::Field;

/// Layers of noise with the largest ratio of peak to RMS in any lead: sines and uniform draws have an end, and the sums of
/// sixteen draws of muscle noise come this far less than once in a year.
pub(crate) const LAYERS: [(Field, f32); 9] = [
    (Field::MainsMv, 1.5),
    (Field::WanderMv, 5.0),
    (Field::MuscleMv, 7.0),
    (Field::MotionMv, 5.0),
    (Field::SurgeryMv, 5.0),
    (Field::ElectrodeMv, 5.0),
    (Field::BackgroundMv, 5.5),
    (Field::TremorMv, 2.4),
    (Field::CompressionMv, 3.4),
];
