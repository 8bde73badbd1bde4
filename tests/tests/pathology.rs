//! Changes of shape by disease: size where it is measured, its sign in the leads that name it.

use pulsewright_core::anatomy::Pathway;
use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::internal::ecg::{LeadGroup, Wave, q_wave, st_shift, t_shift, tented};
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

fn along(group: LeadGroup, mv: f32) -> [f32; 3] {
    group.direction().map(|axis| axis * mv)
}

fn mean(waves: &[Wave], at_ms: f64, leads: &[Lead]) -> f64 {
    leads.iter().map(|lead| lead_of(vector(waves, at_ms), *lead)).sum::<f64>() / leads.len() as f64
}

#[test]
fn st_has_the_size_set_where_it_is_measured() {
    // J + 80 ms, or J + 60 ms at a fast rate: the measuring points of the European ST-T Database.
    // JT of an adult at 60 and at 120 bpm by the cube root of RR: 308 and 226 ms.
    for (jt_ms, measured_ms) in [(308.0, 80.0), (226.0, 60.0)] {
        for group in LeadGroup::ALL {
            for mv in [-0.8, 0.1, 0.8] {
                let waves = st_shift(along(*group, mv), 308.0).map(|wave| stretched(wave, jt_ms / 308.0));
                for (at, within) in [(0.0, 0.1), (measured_ms, 0.01)] {
                    let found = mean(&waves, at, leads_of(*group));
                    assert!(
                        (found / f64::from(mv) - 1.0).abs() < within,
                        "{group:?} {mv}: {found:.3} mV at J + {at} ms"
                    );
                }
            }
        }
    }
}

#[test]
fn a_raised_st_is_a_dome_without_a_shelf() {
    let ii: Vec<f64> = Drawn::new(&st_shift(along(LeadGroup::Inferior, 1.0), 308.0), 308.0)
        .within(II, 0.0, 308.0)
        .map(|(_, mv)| mv)
        .collect();
    let most = ii.iter().copied().fold(0.0, f64::max);
    // Its first and second differences over 10 ms: it always moves, and nowhere turns sharply.
    let step = (10.0 / STEP_MS) as usize;
    let still =
        ii.windows(step + 1).take_while(|w| w[0] > 0.1 * most).filter(|w| (w[step] - w[0]).abs() < 0.001).count();
    assert!((still as f64) * STEP_MS < 20.0, "level for {:.0} ms", still as f64 * STEP_MS);
    let sharpest = ii.windows(2 * step + 1).map(|w| (w[2 * step] - 2.0 * w[step] + w[0]).abs()).fold(0.0, f64::max);
    assert!(sharpest < 0.05 * most, "{sharpest:.3} mV in 20 ms");
}

#[test]
fn an_inferior_injury_looks_like_the_right_coronarys() {
    // III over II, I and aVL depressed: AHA/ACCF/HRS part VI, 2009, from memory.
    let at = |group, lead| lead_of(vector(&st_shift(along(group, 1.0), 308.0), 80.0), lead);
    let inferior = |lead| at(LeadGroup::Inferior, lead);
    assert!(inferior(III) > 1.2 * inferior(II), "III {:.2}, II {:.2}", inferior(III), inferior(II));
    assert!(inferior(I) < -0.2 && inferior(Avl) < -0.5, "I {:.2}, aVL {:.2}", inferior(I), inferior(Avl));
    assert!(at(LeadGroup::Lateral, III) < -0.3, "III against a lateral one");
    assert!(at(LeadGroup::Anterior, Avf).abs() < 0.25, "little in aVF for an anterior one");
}

#[test]
fn st_is_gone_before_the_t_wave_ends() {
    for body in BODIES {
        let complex = body.complex(Pathway::Normal);
        let jt_ms = complex.qt_ms - complex.qrs_ms;
        let left = vector(&st_shift(along(LeadGroup::Inferior, 1.0), jt_ms), f64::from(jt_ms));
        assert!(lead_of(left, II).abs() < 0.01, "{}", body.id);
    }
}

#[test]
fn lost_inferior_force_leaves_q_waves() {
    // At least 30 ms and 0.1 mV in two adjoining leads: fourth universal definition of myocardial infarction, 2018.
    let complex = ADULT.complex(Pathway::Normal);
    let mut waves = complex.qrs.to_vec();
    waves.push(q_wave(along(LeadGroup::Inferior, 0.7), complex.qrs_ms));
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
fn a_walls_t_can_be_inverted_alone() {
    let complex = ADULT.complex(Pathway::Normal);
    let mut waves = complex.t.to_vec();
    waves.push(t_shift(&complex.t[0], along(LeadGroup::Anterior, -0.6)));
    let drawn = Drawn::new(&waves, 400.0);
    for lead in [V1, V2, V3] {
        assert!(drawn.s(lead, 100.0, 320.0) > 0.1, "{lead:?} inverted");
    }
    let usual = t(complex).r(II, 0.0, 400.0);
    assert!(drawn.r(II, 0.0, 400.0) > 0.5 * usual, "II stays upright");
}

#[test]
fn a_tented_t_starts_near_j_and_ends_where_it_ended() {
    for body in BODIES {
        let complex = body.complex(Pathway::Normal);
        let jt_ms = complex.qt_ms - complex.qrs_ms;
        let drawn = Drawn::new(&tented(&complex.t[0], 1.0, jt_ms), f64::from(jt_ms) * 1.2);
        let (onset, peak, end) = drawn.edges();
        let k = f64::from(jt_ms) / 308.0;
        assert!(onset < 25.0 * k && end - onset >= 160.0 * k, "{}: {onset:.0} to {end:.0} ms", body.id);
        assert!((end - f64::from(jt_ms)).abs() < 8.0, "{}: {end:.0} of {jt_ms:.0} ms", body.id);
        assert!(((peak - onset) / (end - peak) - 1.0).abs() < 0.06, "{}: symmetrical", body.id);
        // Narrow at half its height, against the usual T wave.
        let half = |drawn: &Drawn| {
            let all = drawn.magnitudes();
            let most = all.iter().map(|(_, mv)| *mv).fold(0.0, f64::max);
            all.iter().filter(|(_, mv)| *mv > 0.5 * most).count() as f64 * STEP_MS
        };
        assert!(half(&drawn) < 0.75 * half(&t(complex)), "{}: {:.0} ms", body.id, half(&drawn));
    }
    // Tall: over 1 mV in the tallest chest lead (common practice, no source).
    let complex = ADULT.complex(Pathway::Normal);
    let waves = tented(&complex.t[0], 1.0, 308.0);
    let drawn = Drawn::new(&waves, 400.0);
    assert!(2.2 * drawn.r(V3, 0.0, 400.0) > 1.0);
    assert!(2.2 * drawn.r(V2, 0.0, 400.0) > 0.5 && 2.2 * drawn.r(V6, 0.0, 400.0) > 0.3);
}
