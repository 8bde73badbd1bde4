//! Words for groups of channels.

use pulsewright_core::frame::Channel;
use pulsewright_core::pressure::SiteSet;

/// A word for several channels.
pub struct ChannelGroup {
    /// The word.
    pub word: &'static str,
    /// The channels that it stands for, in words.
    pub doc: &'static str,
    holds: fn(Channel) -> bool,
}

/// Every group.
pub const GROUPS: [ChannelGroup; 5] = [
    ChannelGroup {
        word: "usual",
        doc: "Leads, respiration and arterial pressure.",
        holds: |c| Channel::USUAL.contains(&c),
    },
    ChannelGroup { word: "leads", doc: "The twelve leads.", holds: |channel| matches!(channel, Channel::Lead(_)) },
    ChannelGroup { word: "electrodes", doc: "The potentials of nine electrodes.", holds: is_electrode },
    ChannelGroup {
        word: "pressures",
        doc: "The eight pressures that can be played at once; the two atria by name in place of others.",
        holds: |channel| matches!(channel, Channel::Pressure(site) if SiteSet::USUAL.has(site)),
    },
    ChannelGroup {
        word: "all",
        doc: "Every channel that can be played at once.",
        holds: |channel| !matches!(channel, Channel::Pressure(site) if !SiteSet::USUAL.has(site)),
    },
];

fn is_electrode(channel: Channel) -> bool {
    matches!(channel, Channel::Electrode(_))
}

impl ChannelGroup {
    /// The group with this word, letters of either case.
    pub fn find(word: &str) -> Option<&'static ChannelGroup> {
        GROUPS.iter().find(|group| group.word.eq_ignore_ascii_case(word))
    }

    /// Its channels, in the order of the catalogue.
    pub fn channels(&self) -> impl Iterator<Item = Channel> {
        Channel::ALL.iter().copied().filter(|channel| (self.holds)(*channel))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_channels_are_the_core_s() {
        let usual: Vec<Channel> = ChannelGroup::find("Usual").unwrap().channels().collect();
        assert_eq!(usual, Channel::USUAL);
    }

    #[test]
    fn no_word_means_both_a_group_and_a_channel() {
        assert!(GROUPS.iter().all(|group| Channel::find(group.word).is_none()));
    }
}
