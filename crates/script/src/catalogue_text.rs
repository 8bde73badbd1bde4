//! Catalogue text: how each rhythm is recognised, with the source.
//!
//! The core holds the data that play; this text is for readers, so it stays off microcontrollers. "From memory" marks facts
//! that were not checked in their source.

/// The text of a rhythm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RhythmText {
    /// The rhythm's word.
    pub id: &'static str,
    /// How a reader of the strip recognises it.
    pub criteria: &'static str,
    /// Where the criteria come from.
    pub source: &'static str,
}

/// The text of the rhythm with this word.
pub fn find(id: &str) -> Option<&'static RhythmText> {
    TEXTS.iter().find(|text| text.id == id)
}

const fn text(id: &'static str, criteria: &'static str, source: &'static str) -> RhythmText {
    RhythmText { id, criteria, source }
}

const TEXTBOOKS: &str = "textbooks, from memory";

/// Every text, in the order of the catalogue.
#[rustfmt::skip] // A table: one row a rhythm.
static TEXTS: &[RhythmText] = &[
    text("sinus",
        "P upright in I and II before each QRS, PR 120 to 200 ms in an adult, RR regular.",
        "textbooks; PR and QRS ranges of adults from a population study (PMC3825808)"),
    text("sinus-bradycardia",
        "Sinus rhythm below 60 bpm; below 50 bpm is the working clinical limit.",
        "AHA bradycardia algorithm (digest); 2018 ACC/AHA/HRS guideline, from memory"),
    text("sinus-tachycardia",
        "Sinus rhythm above 100 bpm in an adult, to about 220 less the age in years.",
        TEXTBOOKS),
    text("sinus-arrhythmia",
        "Sinus rhythm whose longest PP exceeds the shortest by over 120 ms, in step with breathing.",
        TEXTBOOKS),
    text("sinus-arrest",
        "A pause of 2 to 3 s or more without P waves, no multiple of the PP before it; ended by the sinus node or an escape beat.",
        "monitors' pause settings of 1.5 to 3 s; 3 s of the guideline from memory"),
    text("sinus-exit-block",
        "Now and then a whole P-QRS-T is missing; the pause is two PP intervals.",
        TEXTBOOKS),
    text("atrial-premature",
        "Early P of another shape, PR 120 ms or more, narrow QRS; the pause is less than compensatory.",
        TEXTBOOKS),
    text("multifocal-atrial-tachycardia",
        "Three or more P shapes, PP and PR varying, over 100 bpm.",
        TEXTBOOKS),
    text("atrial-fibrillation",
        "No P waves, f waves of 4 to 9 Hz best seen in V1, RR irregular without pattern.",
        "Goldberger, Clinical Electrocardiography; f-wave frequency and size from memory"),
    text("atrial-fibrillation-fine",
        "As atrial fibrillation, f waves of about 0.05 mV: hardly seen.",
        "Goldberger, Clinical Electrocardiography; f-wave frequency and size from memory"),
    text("atrial-flutter",
        "Sawtooth of 250 to 350 a minute, negative in II, III and aVF; every n-th wave conducts, QRS narrow, RR regular.",
        "Goldberger, Clinical Electrocardiography; ventricular rate by arithmetic"),
    text("atrial-flutter-varying",
        "Sawtooth of 250 to 350 a minute; the number of waves from QRS to QRS changes.",
        "Goldberger, Clinical Electrocardiography; ventricular rate by arithmetic"),
    text("supraventricular-tachycardia",
        "140 to 250 bpm in an adult, regular, narrow QRS, P hidden in the end of QRS; begins and ends abruptly.",
        "Goldberger, Clinical Electrocardiography"),
    text("atrial-tachycardia",
        "Over 100 bpm, regular, a P of another shape than the sinus node's before each narrow QRS.",
        TEXTBOOKS),
    text("junctional-premature",
        "Early narrow QRS; P inverted in II with PR under 120 ms, hidden in QRS, or after it.",
        TEXTBOOKS),
    text("junctional-escape",
        "40 to 60 bpm in an adult, regular, narrow QRS; P absent or inverted.",
        "textbooks, looked up in a digest"),
    text("junctional-accelerated",
        "60 to 100 bpm in an adult, regular, narrow QRS; P absent or inverted.",
        TEXTBOOKS),
    text("junctional-tachycardia",
        "Over 100 bpm in an adult, regular, narrow QRS; P absent, inverted, or after QRS.",
        TEXTBOOKS),
    text("av-block-1",
        "PR over 200 ms, every P conducts.",
        "2018 ACC/AHA/HRS guideline, from memory; over 220 ms in one epidemiological coding (PMC2637596)"),
    text("av-block-2-type-1",
        "PR grows from beat to beat while RR shortens, then a P is not conducted; the pause is less than two PP.",
        TEXTBOOKS),
    text("av-block-2-type-2",
        "PR constant, now and then a P is not conducted; the pause is two PP, QRS often wide.",
        TEXTBOOKS),
    text("av-block-2-1",
        "Every second P conducts, with constant PR.",
        TEXTBOOKS),
    text("av-block-high-grade",
        "Two or more P in a row are not conducted.",
        TEXTBOOKS),
    text("av-block-3-junctional",
        "P and QRS each regular and independent; atria 60 to 100 a minute, narrow escape of 40 to 60 bpm.",
        "textbooks, escape rates looked up in a digest"),
    text("av-block-3-ventricular",
        "P and QRS each regular and independent; atria 60 to 100 a minute, wide escape of 20 to 40 bpm.",
        "textbooks, escape rates looked up in a digest"),
    text("right-bundle-branch-block",
        "QRS 120 ms or more; rsR' in V1 or V2; S wider than R or over 40 ms in I and V6.",
        "AHA/ACCF/HRS recommendations part III (Surawicz 2009), digest"),
    text("left-bundle-branch-block",
        "QRS 120 ms or more; broad notched R in I, aVL, V5, V6 without q; ST and T opposite to QRS.",
        "AHA/ACCF/HRS recommendations part III (Surawicz 2009), digest"),
    text("left-anterior-fascicular-block",
        "Axis -45 to -90 degrees, qR in aVL, rS in II, III, aVF, QRS under 120 ms.",
        "AHA/ACCF/HRS recommendations part III (Surawicz 2009), from memory"),
    text("left-posterior-fascicular-block",
        "Axis +90 to +180 degrees, rS in I and aVL, qR in III and aVF, QRS under 120 ms.",
        "AHA/ACCF/HRS recommendations part III (Surawicz 2009), from memory"),
    text("pre-excitation",
        "PR under 120 ms, slurred onset of QRS (delta wave), QRS over 110 ms, T opposite to the delta wave.",
        TEXTBOOKS),
    text("long-qt",
        "QTc over 450 ms in men, 460 ms in women; 500 ms is high risk.",
        "AHA/ACCF/HRS recommendations part IV, from memory"),
    text("short-qt",
        "QTc of 330 ms or less.",
        TEXTBOOKS),
    text("ventricular-premature",
        "Early QRS of 120 ms or more without P before it, T opposite, full compensatory pause: the two RR sum to two sinus periods. Here from the right ventricle.",
        TEXTBOOKS),
    text("ventricular-premature-left",
        "As ventricular premature beats, from the left ventricle: QRS mainly upward in V1.",
        TEXTBOOKS),
    text("ventricular-multifocal",
        "Premature wide beats of two or more shapes.",
        "monitors' performance disclosures"),
    text("ventricular-interpolated",
        "A premature wide beat between two sinus beats that come on time: no pause.",
        TEXTBOOKS),
    text("ventricular-r-on-t",
        "A premature wide beat on the T wave before it.",
        "monitors' performance disclosures; their limit is an RR under a third of the mean"),
    text("ventricular-couplet",
        "Two premature wide beats in a row.",
        "EC57; monitors' performance disclosures"),
    text("ventricular-run",
        "Three or more ventricular beats in a row, over 100 bpm; here five.",
        "EC57; monitors' performance disclosures"),
    text("ventricular-bigeminy",
        "Every second beat a ventricular premature beat, three cycles or more.",
        "monitors' performance disclosures"),
    text("ventricular-bigeminy-alternating",
        "Every second beat a ventricular premature beat, of two shapes in turn.",
        "named so among the irregular rhythms of EC13 4.1.2.1 e; shape from memory"),
    text("ventricular-trigeminy",
        "Every third beat a ventricular premature beat, three cycles or more.",
        "monitors' performance disclosures"),
    text("ventricular-quadrigeminy",
        "Every fourth beat a ventricular premature beat.",
        TEXTBOOKS),
    text("idioventricular",
        "20 to 40 bpm, wide QRS, no P.",
        "textbooks, looked up in a digest"),
    text("idioventricular-accelerated",
        "40 to 100 bpm, three or more wide beats, P independent; fusion and capture beats where the sinus node competes.",
        TEXTBOOKS),
    text("ventricular-tachycardia",
        "Three or more beats over 100 bpm, QRS over 120 ms, all alike; 140 to 220 bpm typical, P independent.",
        "monitors' performance disclosures; Clayton 1995 for the dominant frequency"),
    text("ventricular-tachycardia-polymorphic",
        "Wide beats over 100 bpm whose shape changes from beat to beat.",
        TEXTBOOKS),
    text("ventricular-tachycardia-bidirectional",
        "Wide beats whose axis turns over from each to the next.",
        TEXTBOOKS),
    text("torsades",
        "200 to 250 bpm, QRS twisting about the baseline over 5 to 20 beats; QT long before it.",
        "textbooks, from memory; Clayton 1995 for the dominant frequency (3.7 Hz)"),
    text("ventricular-flutter",
        "A large regular wave of 180 to 300 a minute in which QRS and T cannot be separated.",
        TEXTBOOKS),
    text("ventricular-fibrillation",
        "Irregular waves without QRS; coarse is over 0.2 mV peak to peak. Dominant frequency 4 to 6 Hz.",
        "Clayton 1995; Strohmenger 1997; amplitude classes Kerber 1997, from memory"),
    text("ventricular-fibrillation-fine",
        "Irregular waves without QRS, under 0.2 mV peak to peak.",
        "Kerber 1997, from memory"),
    text("agonal",
        "Under 20 bpm, very wide, low beats.",
        TEXTBOOKS),
    text("ventricular-standstill",
        "P waves without any QRS.",
        TEXTBOOKS),
    text("asystole",
        "No electrical activity: no QRS, at most 0.1 mV left.",
        "monitors' performance disclosures (no QRS for 4 s); the residue from memory"),
    text("paced-aai",
        "A pacing pulse, then P, then the own QRS after a normal PR.",
        TEXTBOOKS),
    text("paced-vvi",
        "A pacing pulse, then within 40 ms a wide QRS like left bundle branch block with superior axis; P independent.",
        TEXTBOOKS),
    text("paced-ddd",
        "A pulse and P, after 120 to 200 ms a pulse and wide QRS.",
        "makers' technical manuals of pacing devices; from memory"),
    text("paced-tracking",
        "Own P, after 120 to 200 ms a pulse and wide QRS.",
        "makers' technical manuals of pacing devices; from memory"),
    text("paced-no-capture",
        "A pulse with no wave after it.",
        "monitors' performance disclosures for the alarm; timing from memory"),
    text("paced-no-response",
        "Ventricular pulses on time and no QRS after any: asystole with a device, which a monitor must not take for beats.",
        TEXTBOOKS),
    text("paced-no-sensing",
        "Pulses at a fixed rate whatever the own beats do, some on T waves.",
        TEXTBOOKS),
    text("paced-oversensing",
        "Pulses fail to come although no beat does: the device takes something else for beats.",
        TEXTBOOKS),
];

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::heart::catalogue::RHYTHMS;

    #[test]
    fn every_rhythm_has_one_text() {
        for rhythm in RHYTHMS {
            let texts = TEXTS.iter().filter(|text| text.id == rhythm.id).count();
            assert_eq!(texts, 1, "{} needs one row in catalogue_text.rs", rhythm.id);
        }
    }

    #[test]
    fn texts_are_whole_sentences_with_a_source() {
        for text in TEXTS {
            assert!(text.criteria.ends_with('.') && !text.source.is_empty(), "{}", text.id);
            // They stand in cells of a Markdown table.
            assert!(!text.criteria.contains('|') && !text.source.contains('|'), "{}", text.id);
        }
    }
}
