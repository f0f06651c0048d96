//! Every screen as text with a second map of its styles, at four sizes; and no panic at any size.

use super::super::app::{App, Msg};
use super::super::made;
use super::super::theme::{Role, Theme};
use super::super::transport::Transport;
use super::draw;
use crate::model::{Level, Snapshot};
use proptest::prelude::*;
use ratatui::buffer::Buffer;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::layout::Rect;
use ratatui::style::Style;

const SIZES: [(u16, u16); 4] = [(40, 12), (80, 24), (120, 40), (200, 60)];

fn picture(app: &App, width: u16, height: u16) -> Buffer {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(app, area, &mut buffer);
    buffer
}

/// Rows of text, then the same rows with a letter for each style.
fn told(buffer: &Buffer, theme: &Theme) -> String {
    let text = rows(buffer, |cell| cell.symbol().to_owned());
    let styles = rows(buffer, |cell| letter(cell.style(), theme).to_string());
    format!("{text}\n{}\n{styles}", "=".repeat(usize::from(buffer.area.width)))
}

fn rows(buffer: &Buffer, show: impl Fn(&ratatui::buffer::Cell) -> String) -> String {
    let width = usize::from(buffer.area.width).max(1);
    let row = |cells: &[ratatui::buffer::Cell]| cells.iter().map(&show).collect::<String>().trim_end().to_owned();
    buffer.content.chunks(width).map(row).collect::<Vec<_>>().join("\n")
}

/// Plain ' ', quiet 'q', strong 'b', chosen 'c'; a level's badge in capitals and its sentence and signs in small
/// letters: notice n, not known k, warning w, urgent u.
fn letter(style: Style, theme: &Theme) -> char {
    let mut roles = vec![(Role::Plain, ' '), (Role::Quiet, 'q'), (Role::Strong, 'b'), (Role::Chosen, 'c')];
    for (level, big, small) in [
        (Level::Well, ' ', ' '),
        (Level::Notice, 'N', 'n'),
        (Level::NotKnown, 'K', 'k'),
        (Level::Warning, 'W', 'w'),
        (Level::Urgent, 'U', 'u'),
    ] {
        roles.extend([(Role::Badge(level), big), (Role::Sentence(level), small), (Role::Sign(level), small)]);
    }
    let on_screen = |role| Style::reset().patch(theme.style(role));
    let plain = |style: Style| (style.fg, style.bg, style.add_modifier);
    roles
        .iter()
        .find(|(role, _)| plain(on_screen(*role)) == plain(style) || plain(theme.style(*role)) == plain(style))
        .map_or('@', |(_, letter)| *letter)
}

fn keep(name: &str, app: &App, sizes: &[(u16, u16)]) {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("../../../fixtures/screens");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    for (width, height) in sizes {
        let told = told(&picture(app, *width, *height), &app.theme);
        assert!(!told.contains('@'), "a style without a name:\n{told}");
        settings.bind(|| insta::assert_snapshot!(format!("{name}-{width}x{height}"), told));
    }
}

fn press(app: &mut App, code: KeyCode) {
    app.update(Msg::Key(KeyEvent::new(code, KeyModifiers::NONE)));
}

#[test]
fn the_bank_at_four_sizes() {
    let made: [(&str, Snapshot); 8] = [
        ("well", made::well()),
        ("cold-charge", made::cold_charge()),
        ("sixteen-cells", made::sixteen_cells()),
        ("three-packs", made::packs(3)),
        ("missing-and-stale", made::missing_and_stale()),
        ("many-findings", made::many_findings()),
        ("urgent", made::urgent()),
        ("nothing-yet", Snapshot::default()),
    ];
    for (name, snapshot) in made {
        keep(name, &made::app(snapshot, Theme::default()), &SIZES);
    }
}

#[test]
fn an_invented_bank_says_so() {
    keep("invented", &made::app_at(made::well(), Theme::default(), made::invented()), &SIZES[..2]);
}

#[test]
fn a_bank_without_cell_voltages_says_that_the_cells_are_not_seen() {
    let mut snapshot = made::well();
    snapshot.packs[0].cells.clear();
    keep("no-cells", &made::app(snapshot, Theme::default()), &SIZES[1..2]);
}

#[test]
fn the_other_panes() {
    for (name, key) in [("help", '?'), ("alerts", 'a'), ("values", 'v'), ("questions", 'y'), ("data", 'd')] {
        let mut app = made::app(made::many_findings(), Theme::default());
        press(&mut app, KeyCode::Char(key));
        keep(name, &app, &SIZES[..2]);
    }
}

#[test]
fn without_colour_at_night_and_in_ascii() {
    let plain = Theme { without_colour: true, ..Theme::default() };
    keep("cold-charge-without-colour", &made::app(made::cold_charge(), plain), &SIZES[1..2]);
    let ascii = Theme { without_colour: true, ascii: true, ..Theme::default() };
    let app = made::app(made::missing_and_stale(), ascii);
    keep("missing-and-stale-ascii", &app, &SIZES[1..2]);
    assert!(picture(&app, 80, 24).content.iter().all(|cell| cell.symbol().is_ascii()));
    let night = Theme { night: true, ..Theme::default() };
    keep("cold-charge-at-night", &made::app(made::cold_charge(), night), &SIZES[1..2]);
}

/// What a bus, a log or a file says can be as long as it likes.
#[test]
fn the_verdict_is_on_the_first_line_even_of_a_single_line() {
    let app = made::app(made::urgent(), Theme::default());
    assert!(
        rows(&picture(&app, 60, 1), |cell| cell.symbol().to_owned())
            .starts_with("URGENT Sensor 1 of pack 1 reads 82 °C")
    );
}

fn snapshots() -> impl Strategy<Value = Snapshot> {
    (0..10_usize).prop_map(|which| match which {
        0 => Snapshot::default(),
        1 => made::cold_charge(),
        2 => made::sixteen_cells(),
        3 => made::thirty_two_cells(),
        4 => made::packs(2),
        5 => made::packs(16),
        6 => made::missing_and_stale(),
        7 => made::many_findings(),
        8 => made::urgent(),
        _ => made::well(),
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn no_size_no_keys_and_no_bank_make_it_panic(
        width in 0_u16..300,
        height in 0_u16..100,
        keys in "[?avdywxnps+bgGjk \t]{0,6}",
        snapshot in snapshots(),
        started in any::<bool>(),
    ) {
        let transport = if started { made::transport() } else { Transport::default() };
        let mut app = made::app_at(snapshot, Theme::default(), transport);
        for key in keys.chars() {
            press(&mut app, if key == '\t' { KeyCode::Tab } else { KeyCode::Char(key) });
            picture(&app, width, height);
        }
    }

    #[test]
    fn numbers_beyond_reason_do_not_make_it_panic(volts in any::<f64>(), low in any::<f64>(), width in 0_u16..200) {
        let mut snapshot = made::well();
        snapshot.packs[0].cells[0].voltage.value = Some(volts);
        snapshot.packs[0].cells[1].voltage.lowest = Some(low);
        snapshot.packs[0].cells[2].delta_mv = Some(volts);
        snapshot.packs[0].current.value = Some(low);
        picture(&made::app(snapshot, Theme::default()), width, 30);
    }
}
