//! What disease adds to a shape: its size where it is measured, its sign in the leads that name it.

use pulsewright_core::anatomy::Pathway;
use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::internal::ecg::Wave;
use pulsewright_core::internal::ecg::{LeadGroup, changed_t, q_wave, st_shift};
use pulsewright_tests::drawn::Lead::{self, Avf, Avl, I, II, III, V1, V2, V3, V4, V5, V6};
use pulsewright_tests::drawn::{Drawn, STEP_MS, lead_of, qrs, t, vector};

fn leads_of(group: LeadGroup) -> &'static [Lead] {
    match group {
        LeadGroup::Inferior => &[II, III, Avf],
        LeadGroup::Anterior => &[V1, V2, V3, V4],
        LeadGroup::Lateral => &[I, Avl, V5, V6],
    }
}

/// The wave's times stretched, as a beat of another QT stretches them.
fn stretched(wave: Wave, by: f32) -> Wave {
    Wave {
        at_ms: wave.at_ms * by,
        rise_ms: wave.rise_ms * by,
        hold_ms: wave.hold_ms * by,
        fall_ms: wave.fall_ms * by,
        mv: wave.mv,
    }
}

#[test]
fn st_has_the_size_set_where_it_is_measured() {
    // J + 80 ms, or J + 60 ms at a fast rate: the measuring points of the European ST-T Database.
    // JT of an adult at 60 and at 120 bpm by the cube root of RR: 308 and 226 ms.
    for (jt_ms, measured_ms) in [(308.0, 80.0), (226.0, 60.0)] {
        for group in LeadGroup::ALL {
            for mv in [-0.8, 0.1, 0.8] {
                let wave = stretched(st_shift(*group, mv, 308.0), jt_ms / 308.0);
                for at in [0.0, measured_ms] {
                    let leads = leads_of(*group);
                    let values: Vec<f64> = leads.iter().map(|lead| lead_of(vector(&[wave], at), *lead)).collect();
                    let mean = values.iter().sum::<f64>() / values.len() as f64;
                    assert!((mean / f64::from(mv) - 1.0).abs() < 0.01, "{group:?} {mv}: {mean:.3} mV at J + {at} ms");
                    assert!(values.iter().all(|value| value * f64::from(mv) > 0.0), "{group:?} {mv}: {values:?}");
                }
            }
        }
    }
}

#[test]
fn st_shift_is_reciprocal_in_opposite_leads() {
    let at_j = |group, lead| lead_of(vector(&[st_shift(group, 1.0, 308.0)], 40.0), lead);
    assert!(at_j(LeadGroup::Inferior, Avl) < -0.3, "aVL against an inferior injury");
    assert!(at_j(LeadGroup::Lateral, III) < -0.3, "III against a lateral one");
    assert!(at_j(LeadGroup::Anterior, Avf).abs() < 0.25, "little in aVF for an anterior one");
}

#[test]
fn st_is_gone_before_the_t_wave_ends() {
    for body in BODIES {
        let complex = body.complex(Pathway::Normal);
        let jt_ms = complex.qt_ms - complex.qrs_ms;
        let left = vector(&[st_shift(LeadGroup::Inferior, 1.0, jt_ms)], f64::from(jt_ms));
        assert!(lead_of(left, II).abs() < 0.01, "{}", body.id);
    }
}

#[test]
fn lost_inferior_force_leaves_q_waves() {
    // At least 30 ms and 0.1 mV in two adjoining leads: fourth universal definition of myocardial infarction, 2018.
    let complex = ADULT.complex(Pathway::Normal);
    let mut waves = complex.qrs.to_vec();
    waves.push(q_wave(LeadGroup::Inferior, 0.7, complex.qrs_ms));
    let drawn = Drawn::new(&waves, 130.0);
    for lead in [II, III, Avf] {
        let below = drawn.within(lead, 0.0, 60.0).filter(|(_, mv)| *mv < -0.02).count() as f64 * STEP_MS;
        let depth = drawn.s(lead, 0.0, 60.0);
        assert!(below >= 30.0 && depth >= 0.1, "{lead:?}: {below:.0} ms, {depth:.2} mV");
    }
    let (_, _, end) = drawn.edges();
    let (_, _, normal_end) = qrs(complex).edges();
    assert!((end - normal_end).abs() < 3.0, "the QRS is no longer for it: {end:.0} ms");
}

#[test]
fn a_changed_t_ends_where_it_ended() {
    for body in BODIES {
        let complex = body.complex(Pathway::Normal);
        let jt_ms = f64::from(complex.qt_ms - complex.qrs_ms);
        let tented = Drawn::new(&[changed_t(&complex.t[0], 2.5, 1.0)], jt_ms * 1.2);
        let (onset, peak, end) = tented.edges();
        assert!((end - jt_ms).abs() < 4.0, "{}: {end:.0} of {jt_ms:.0} ms", body.id);
        assert!(((peak - onset) / (end - peak) - 1.0).abs() < 0.05, "{}: symmetrical", body.id);
        let (plain_onset, _, plain_end) = t(complex).edges();
        assert!(end - onset < 0.6 * (plain_end - plain_onset), "{}: narrow", body.id);
        let inverted = Drawn::new(&[changed_t(&complex.t[0], -1.0, 0.0)], jt_ms * 1.2);
        assert!((inverted.s(V5, 0.0, 999.0) - t(complex).r(V5, 0.0, 999.0)).abs() < 1e-6, "{}: inverted", body.id);
    }
    // Tall: over 1 mV in the tallest chest lead (common practice, no source).
    let complex = ADULT.complex(Pathway::Normal);
    let tented = Drawn::new(&[changed_t(&complex.t[0], 2.2, 1.0)], 400.0);
    assert!(tented.r(V3, 0.0, 400.0) > 1.0);
    assert!(tented.r(V2, 0.0, 400.0) > 0.5 && tented.r(V6, 0.0, 400.0) > 0.3);
}
