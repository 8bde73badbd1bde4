//! Annotation files: events in the codes of the open annotation set.
//!
//! | mark | code |
//! |---|---|
//! | beat, at its QRS peak | its letter |
//! | step | `+` with the rhythm, such as `(AFIB`; then `"` with the step's name (of the first step at frame 1, as readers take a note at frame 0 for a remark on the file) |
//! | ventricular fibrillation or flutter | `[` and `]` |
//! | pulse of a pacing device without an answer | `^` |
//!
//! Breaths, pulses and cuff have no codes there; the tables beside the signal hold them.

use crate::content::Content;
use crate::csv::on_one_line;
use crate::marks::{Mark, MarkGatherer, MarkKind};
use crate::truth::nearest_frame;
use pulsewright_core::script::Item;
use pulsewright_core::time::{FrameRate, Instant};
use pulsewright_core::truth::{Episode, Event, Observer};
use pulsewright_text::annotation::{AUX, SKIP, number_of_code};
use std::io::{self, Write};

/// Most bytes of text that readers take.
const LONGEST_TEXT: usize = 250;

/// Code of a note.
const NOTE: char = '"';
/// Code of a pacing pulse.
const PACING_PULSE: char = '^';
/// Code of a change of rhythm.
const RHYTHM: char = '+';
/// Codes of the start and the end of fibrillation.
const FIBRILLATION: [char; 2] = ['[', ']'];

/// Number of a code; of one that the set does not have, that of an unclassifiable beat.
fn number(code: char) -> u16 {
    const UNCLASSIFIABLE: u16 = 13;
    number_of_code(code).map_or(UNCLASSIFIABLE, u16::from)
}

/// Text of a rhythm: the open database's where it has one (`(ASYS` and `(VFIB` from sets beside the first, from memory),
/// else the rhythm's word.
fn rhythm_text(id: &str) -> String {
    let text = match id {
        "sinus" | "sinus-arrhythmia" | "sinus-tachycardia" => "N",
        "sinus-bradycardia" => "SBR",
        "atrial-fibrillation"
        | "atrial-fibrillation-fine"
        | "atrial-fibrillation-pre-excited"
        | "atrial-fibrillation-complete-block" => "AFIB",
        "atrial-flutter" | "atrial-flutter-varying" => "AFL",
        "supraventricular-tachycardia" | "supraventricular-tachycardia-aberrant" | "atrial-tachycardia" => "SVTA",
        "junctional-escape" | "junctional-accelerated" | "junctional-tachycardia" => "NOD",
        "av-block-2-type-1" | "av-block-2-type-2" | "av-block-2-1" => "BII",
        "ventricular-bigeminy" => "B",
        "ventricular-trigeminy" => "T",
        "idioventricular" | "idioventricular-accelerated" => "IVR",
        "ventricular-tachycardia"
        | "ventricular-tachycardia-right"
        | "ventricular-tachycardia-polymorphic"
        | "torsades" => "VT",
        "ventricular-flutter" => "VFL",
        "ventricular-fibrillation" | "ventricular-fibrillation-fine" => "VFIB",
        "asystole" | "ventricular-standstill" => "ASYS",
        "pre-excitation" => "PREX",
        paced if paced.starts_with("paced-") => "P",
        other => other,
    };
    format!("({text}")
}

/// Writes an annotation file while the events happen.
///
/// An error of the file is kept until [`AnnotationWriter::finish`]; nothing is written after it.
pub struct AnnotationWriter<'a, W: Write> {
    content: Content<'a>,
    rate: FrameRate,
    frames: u64,
    marks: MarkGatherer,
    written: u64,
    /// Name of the step at frame 0, to be noted at frame 1.
    first_name: Option<String>,
    file: W,
    trouble: io::Result<()>,
}

impl<'a, W: Write> AnnotationWriter<'a, W> {
    /// For a render of `frames` frames.
    pub fn new(content: Content<'a>, rate: FrameRate, frames: u64, file: W) -> AnnotationWriter<'a, W> {
        AnnotationWriter {
            content,
            rate,
            frames,
            marks: MarkGatherer::default(),
            written: 0,
            first_name: None,
            file,
            trouble: Ok(()),
        }
    }

    /// Writes the marks that still wait and the end mark, and gives the file back.
    ///
    /// # Errors
    /// The first error of writing.
    pub fn finish(mut self) -> io::Result<W> {
        for mark in self.marks.take_before(Instant::NEVER).collect::<Vec<_>>() {
            self.write(&mark);
        }
        self.write_first_name();
        self.put(&[0, 0]);
        self.trouble.map(|()| self.file)
    }

    fn write(&mut self, mark: &Mark) {
        let frame = nearest_frame(mark.at, self.rate);
        if frame >= self.frames {
            return;
        }
        if frame > 0 {
            self.write_first_name();
        }
        match mark.what {
            MarkKind::Beat(code) => self.annotation(frame, code.symbol(), ""),
            MarkKind::Step(item) => {
                let Some(Item::Step(step)) = self.content.script.items().get(item) else {
                    return;
                };
                self.annotation(frame, RHYTHM, &rhythm_text(step.settings.rhythm().id));
                let label = self.content.labels.get(item).copied().unwrap_or("");
                if frame == 0 {
                    self.first_name = Some(on_one_line(label));
                } else if !label.is_empty() {
                    self.annotation(frame, NOTE, &on_one_line(label));
                }
            }
            MarkKind::Episode { episode: Episode::VentricularFibrillation | Episode::VentricularFlutter, starts } => {
                self.annotation(frame, FIBRILLATION[usize::from(!starts)], "");
            }
            MarkKind::Pace { captures: false, .. } => self.annotation(frame, PACING_PULSE, ""),
            MarkKind::Pace { .. } | MarkKind::Episode { .. } | MarkKind::Breath { .. } | MarkKind::Cuff(_) => {}
        }
    }

    fn write_first_name(&mut self) {
        if let Some(label) = self.first_name.take().filter(|label| !label.is_empty() && self.frames > 1) {
            self.annotation(1, NOTE, &label);
        }
    }

    /// One annotation, at a frame not before that of the last.
    fn annotation(&mut self, frame: u64, code: char, text: &str) {
        let mut bytes = Vec::new();
        let mut push = |word: u16| bytes.extend_from_slice(&word.to_le_bytes());
        let mut since = frame.saturating_sub(self.written);
        // Ten bits hold a short time; a jump is of 31 bits, the high half first.
        while since > 0x3ff {
            let jump = since.min(i32::MAX as u64);
            push(SKIP << 10);
            push((jump >> 16) as u16);
            push(jump as u16);
            since -= jump;
        }
        push(number(code) << 10 | since as u16);
        self.written = frame;
        let mut length = text.len().min(LONGEST_TEXT);
        while !text.is_char_boundary(length) {
            length -= 1;
        }
        if length > 0 {
            push(AUX << 10 | length as u16);
            bytes.extend_from_slice(&text.as_bytes()[..length]);
            // Text of odd length is followed by a byte that makes it even.
            bytes.extend_from_slice(&[0][..length % 2]);
        }
        self.put(&bytes);
    }

    fn put(&mut self, bytes: &[u8]) {
        if self.trouble.is_ok() {
            self.trouble = self.file.write_all(bytes);
        }
    }
}

impl<W: Write> Observer for AnnotationWriter<'_, W> {
    fn observe(&mut self, event: Event) {
        self.marks.observe(event);
        for mark in self.marks.take_settled().collect::<Vec<_>>() {
            self.write(&mark);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::heart::catalogue::{RHYTHMS, SINUS};
    use pulsewright_core::script::{Script, Step};
    use pulsewright_core::settings::Settings;
    use pulsewright_core::time::Span;
    use pulsewright_core::truth::{Beat, BeatCode};

    fn file(labels: &[&str], frames: u64, events: &[Event]) -> Vec<u8> {
        let settings = Settings::new(&ADULT, &SINUS);
        let items = [Item::Step(Step::lasting(Span::secs(1), settings))];
        let script = Script::new(1, &items).unwrap();
        let content =
            Content { script: &script, title: "", labels, limits: pulsewright_core::expect::AlarmLimits::USUAL };
        let mut annotations = AnnotationWriter::new(content, FrameRate::lit(1000), frames, Vec::new());
        events.iter().for_each(|event| annotations.observe(*event));
        annotations.finish().unwrap()
    }

    fn beat(millis: u64, code: BeatCode) -> Event {
        let at = Instant::ZERO.plus(Span::millis(millis));
        Event::Beat(Beat { onset: at, peak: at, end: at, t_end: at, p_onset: None, code, is_recorded: false })
    }

    #[test]
    fn a_file_word_by_word() {
        let step = Event::Step { item: 0, at: Instant::ZERO };
        let bytes = file(&["rest"], 10_000_000, &[step, beat(1023, BeatCode::Normal), beat(71_023, BeatCode::ROnT)]);
        let words: Vec<u16> = bytes.chunks(2).map(|pair| u16::from_le_bytes([pair[0], pair[1]])).collect();
        let text = |text: &[u8; 2]| u16::from_le_bytes(*text);
        let expected = [
            (28 << 10, None),
            (63 << 10 | 2, Some(text(b"(N"))),
            (22 << 10 | 1, None),
            (63 << 10 | 4, Some(text(b"re"))),
            (text(b"st"), None),
            (1 << 10 | 1022, None),
            // 70 000 = 0x11170.
            (59 << 10, Some(1)),
            (0x1170, Some(41 << 10)),
            (0, None),
        ];
        let expected: Vec<u16> = expected.into_iter().flat_map(|(word, more)| [Some(word), more]).flatten().collect();
        assert_eq!(words, expected);
    }

    #[test]
    fn marks_beyond_the_end_are_left_out() {
        assert_eq!(file(&[], 100, &[beat(50, BeatCode::Paced), beat(100, BeatCode::Paced)]), [50, 12 << 2, 0, 0]);
    }

    #[test]
    fn long_names_end_at_a_character() {
        let label = "ä".repeat(200);
        let bytes = file(&[&label], 100, &[Event::Step { item: 0, at: Instant::ZERO }]);
        assert_eq!(bytes.len(), 6 + 2 + 2 + 250 + 2);
        assert!(std::str::from_utf8(&bytes[10..260]).is_ok());
    }

    #[test]
    fn every_beat_code_has_the_number_of_the_open_set() {
        // Numbers and letters of the open annotation set, as the scorer reads them too.
        let letters = " NLRaVFJASEj/Q";
        for code in [BeatCode::Normal, BeatCode::VentricularPremature, BeatCode::Paced, BeatCode::Unclassifiable] {
            assert_eq!(letters.chars().nth(number(code.symbol()).into()), Some(code.symbol()));
        }
    }

    #[test]
    fn every_rhythm_has_a_text() {
        for rhythm in RHYTHMS {
            let text = rhythm_text(rhythm.id);
            assert!(text.starts_with('(') && text.len() > 1 && text.is_ascii(), "{text}");
        }
    }
}
