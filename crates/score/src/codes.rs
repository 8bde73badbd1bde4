//! The open annotation codes and the classes they are scored in.
//!
//! Codes and numbers: open waveform-database annotation format. Classes: N normal, S supraventricular
//! ectopic, V ventricular ectopic, F fusion, Q paced or unclassifiable (EC57). Sources differ over the
//! escape beats `e`, `j`, `n`; both readings are offered and every report names the one it used.

pub use pulsewright_text::annotation::{code_of_number, is_code};
use serde::{Deserialize, Serialize};

/// Class of a beat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
pub enum BeatClass {
    /// Normal, bundle branch block.
    N,
    /// Supraventricular ectopic.
    S,
    /// Ventricular ectopic.
    V,
    /// Fusion of ventricular and normal.
    F,
    /// Paced, paced fusion, unclassifiable.
    Q,
}

impl BeatClass {
    /// All classes in the order of the matrix.
    pub const ALL: [BeatClass; 5] = [BeatClass::N, BeatClass::S, BeatClass::V, BeatClass::F, BeatClass::Q];

    /// Row or column in the matrix.
    pub fn index(self) -> usize {
        match self {
            BeatClass::N => 0,
            BeatClass::S => 1,
            BeatClass::V => 2,
            BeatClass::F => 3,
            BeatClass::Q => 4,
        }
    }
}

/// Where the escape beats `e`, `j`, `n` belong.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClassMap {
    /// With the supraventricular beats, as the open beat comparator has them. The default.
    #[default]
    Comparator,
    /// Atrial and junctional escapes (`e`, `j`) with the normal beats, as published tables of the EC57
    /// grouping have them. Those tables do not hold `n`; it is put beside them (our reading).
    Tables,
}

impl ClassMap {
    /// Class of a beat code; `None` for codes that are no beats, flutter waves (`!`) among them.
    pub fn class(self, code: char) -> Option<BeatClass> {
        Some(match code {
            'N' | 'L' | 'R' | 'B' => BeatClass::N,
            'A' | 'a' | 'J' | 'S' => BeatClass::S,
            'e' | 'j' | 'n' => match self {
                ClassMap::Comparator => BeatClass::S,
                ClassMap::Tables => BeatClass::N,
            },
            'V' | 'E' | 'r' => BeatClass::V,
            'F' => BeatClass::F,
            '/' | 'f' | 'Q' | '?' => BeatClass::Q,
            _ => return None,
        })
    }

    /// The map in one line, for reports.
    pub fn description(self) -> &'static str {
        match self {
            ClassMap::Comparator => "comparator: N = N L R B; S = A a J S e j n; V = V E r; F = F; Q = / f Q ?",
            ClassMap::Tables => "tables: N = N L R B e j n; S = A a J S; V = V E r; F = F; Q = / f Q ?",
        }
    }
}

/// True for codes that mark a beat.
pub fn is_beat(code: char) -> bool {
    ClassMap::Comparator.class(code).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_text::annotation::CODES;

    #[test]
    fn maps_differ_in_the_escapes_only() {
        for (_, code) in CODES {
            let same = ClassMap::Comparator.class(code) == ClassMap::Tables.class(code);
            assert_eq!(same, !"ejn".contains(code), "{code}");
        }
        assert_eq!(ClassMap::Comparator.class('!'), None);
        assert_eq!(ClassMap::Comparator.class('+'), None);
    }

    #[test]
    fn description_says_what_the_map_does() {
        for map in [ClassMap::Comparator, ClassMap::Tables] {
            let (_, text) = map.description().split_once(": ").expect("has a name");
            for part in text.split("; ") {
                let (class, codes) = part.split_once(" = ").expect("class = codes");
                for code in codes.split(' ') {
                    let code = code.chars().next().expect("a letter");
                    assert_eq!(format!("{:?}", map.class(code).expect("a beat")), class, "{code}");
                }
            }
        }
    }
}
