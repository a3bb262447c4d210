//! Puts a screen into a buffer: its top line, what it shows, and the keys that work.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::app::Place;
use crate::quiz::Stage;

use super::keymap::{bindings, foot, in_foot};
use super::page::{Screen, cut, width, wrapped};
use super::screens::{
    bench, help, listening, progress, question, recording, reveal, summary, today, tune_up,
};
use super::theme::Theme;
use super::view::{Overlay, Room, View};

/// Lines taken by the top line and the blank ones below it and above the keys.
const FRAME_ROWS: usize = 3;

/// Draws `view` over all of `buf`.
pub(super) fn draw(view: &View<'_>, theme: Theme, buf: &mut Buffer) {
    let area = buf.area;
    buf.reset();
    let room = Room::of(area);
    let (columns, rows) = (usize::from(area.width), usize::from(area.height));
    let keys = in_foot(&bindings(view, room), (columns, rows));
    let keys = foot(&keys, columns, theme);
    let n_keys = keys.len().min(rows);
    put(buf, rows - n_keys, &keys);
    if room == Room::TooSmall {
        let mut lines = too_small(area);
        lines.truncate(rows - n_keys);
        return put(buf, 0, &lines);
    }
    let height = rows.saturating_sub(n_keys + FRAME_ROWS);
    let screen = screen(view, theme, (columns, height));
    put(buf, 0, &[top(&screen, columns, theme)]);
    put(buf, 2, &screen.body.fitted(height));
}

fn screen(view: &View<'_>, theme: Theme, room: (usize, usize)) -> Screen {
    let columns = room.0;
    if let Overlay::Help { page } = view.here.overlay {
        return help::screen(view, theme, room, page);
    }
    match (view.place, view.stage) {
        (Place::Today(today), _) => today::screen(today, view, theme, room),
        (Place::Summary(summary), _) => summary::screen(summary, theme, columns),
        (Place::Listening(heard), _) => listening::screen(heard, view, theme, columns),
        (Place::Progress(made), _) => progress::screen(made, theme, room),
        (Place::TuneUp(tuning), _) => tune_up::screen(tuning, theme, columns),
        (Place::Recording(heard), _) => recording::screen(heard, view, theme, columns),
        (Place::Bench(setup), _) => bench::screen(setup, view, theme, room),
        (Place::Sitting, Some(Stage::Open(open))) => question::screen(open, view, theme, columns),
        (Place::Sitting, Some(Stage::Shown(shown))) => reveal::screen(shown, view, theme, columns),
        (Place::Sitting, _) => question::waiting(columns),
    }
}

fn top(screen: &Screen, columns: usize, theme: Theme) -> Line<'static> {
    let aside = cut(&screen.aside, columns * 3 / 5);
    let title = cut(&screen.title, columns.saturating_sub(width(&aside) + 4));
    let blanks = columns.saturating_sub(width(&title) + width(&aside) + 2);
    Line::styled(format!(" {title}{:blanks$}{aside}", ""), theme.strong())
}

fn too_small(area: Rect) -> Vec<Line<'static>> {
    let (columns, rows) = Room::LEAST;
    let said = format!(
        "contrapalma needs {columns} columns and {rows} rows; here are {} and {}.",
        area.width, area.height
    );
    let rows = wrapped(&said, usize::from(area.width));
    rows.into_iter().map(Line::from).collect()
}

fn put(buf: &mut Buffer, first: usize, lines: &[Line<'static>]) {
    let area = buf.area;
    for (line, y) in lines.iter().zip(first..usize::from(area.height)) {
        let Ok(y) = u16::try_from(y) else { return };
        buf.set_line(area.x, area.y + y, line, area.width);
    }
}
