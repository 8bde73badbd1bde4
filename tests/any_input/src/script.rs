//! Script documents.

use super::sound_bits;
use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::script::Script;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_record::{Plan, worksheet};
use pulsewright_script::parse;

/// Longest plan whose frames are digested here; digesting an hour takes long.
const LONGEST_PLAN: Span = Span::secs(60);

/// Text gets a document that plays, plans and is written back as the same, or problems that can be shown.
pub fn script(text: &[u8]) {
    let document = match parse(text, "any.json") {
        Ok(document) => document,
        Err(problems) => {
            assert!(!problems.list().is_empty());
            assert!(problems.render(true).contains("any.json"));
            assert!(problems.to_string().starts_with("error: "));
            return;
        }
    };
    let items = document.items();
    let script = Script::new(document.seed(), &items).expect("a document makes a script");
    assert_eq!(document.holds(), items.iter().any(|item| holds(item)));
    for (placed, _) in script.timeline().zip(0..200) {
        assert!(document.step(placed.item).is_some());
        let _ = document.label(placed.item);
    }
    let mut player = Player::new(&script, FrameRate::lit(100));
    let mut frames = [Frame::default(); 50];
    let filled = player.fill(&mut frames);
    player.skip(500);
    for frame in &frames[..filled] {
        sound_bits(frame);
    }

    let written = document.to_json().to_string();
    let again = parse(written.as_bytes(), "written.json").expect("what was written is read");
    assert_eq!(written, again.to_json().to_string());
    assert_eq!(format!("{items:?}"), format!("{:?}", again.items()));

    if document.expects() && script.duration().is_some_and(|duration| duration <= LONGEST_PLAN) {
        let plan = Plan::new(&document, text, None).expect("a short document that expects something");
        assert_eq!(plan.digest, plan.own_digest());
        assert!(worksheet::page(&plan, &document).contains("</html>"));
    }
}

fn holds(item: &pulsewright_core::script::Item<'_>) -> bool {
    matches!(item, pulsewright_core::script::Item::Step(step) if step.duration.is_none())
}
