//! Colours and the few characters that are not ASCII.
//!
//! Colour only repeats what the numerals 3 and 2 say. Bold sets off headings and keys.

use ratatui::style::{Color, Modifier, Style};

use crate::world::Env;

/// Blue and vermilion, after the palette of Okabe and Ito (2008, "Color Universal Design"), which
/// common kinds of colour blindness tell apart; the nearest of the terminal's 256 that are readable
/// on black and on white.
const THREES: Color = Color::Indexed(31);
const TWOS: Color = Color::Indexed(166);

/// How things look in this terminal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Theme {
    pub(super) palette: Palette,
    pub(super) glyphs: Glyphs,
}

/// Whether colours are used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Palette {
    Plain,
    Coloured,
}

/// Which characters can be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Glyphs {
    Ascii,
    Unicode,
}

impl Theme {
    /// What the surroundings allow.
    pub(super) fn of(env: &Env) -> Self {
        Self {
            palette: if env.no_color {
                Palette::Plain
            } else {
                Palette::Coloured
            },
            glyphs: if env.utf8 {
                Glyphs::Unicode
            } else {
                Glyphs::Ascii
            },
        }
    }

    /// Headings, verdicts and keys.
    pub(super) fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// A mark of the grid.
    pub(super) fn mark(self, mark: char) -> Style {
        match (mark, self.palette) {
            ('3', Palette::Coloured) => self.strong().fg(THREES),
            ('2', Palette::Coloured) => self.strong().fg(TWOS),
            ('3' | '2' | 'x', _) => self.strong(),
            _ => Style::new(),
        }
    }

    /// The playhead under the counts.
    pub(super) fn playhead(self) -> char {
        match self.glyphs {
            Glyphs::Ascii => '^',
            Glyphs::Unicode => '▴',
        }
    }

    /// What glides along the track before the answer, and the track.
    pub(super) fn track(self) -> (char, char) {
        match self.glyphs {
            Glyphs::Ascii => ('=', '-'),
            Glyphs::Unicode => ('●', '─'),
        }
    }

    /// One day of the chart: `n` of at most `most`.
    pub(super) fn day(self, n: u32, most: u32) -> char {
        const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
        const SIGNS: [char; 3] = [':', '|', '#'];
        let signs: &[char] = match self.glyphs {
            Glyphs::Ascii => &SIGNS,
            Glyphs::Unicode => &BARS,
        };
        let Some(below) = n.checked_sub(1) else {
            return '.';
        };
        let n_signs = u64::try_from(signs.len()).unwrap_or(1);
        let idx = u64::from(below) * n_signs / u64::from(most.max(n));
        usize::try_from(idx)
            .ok()
            .and_then(|idx| signs.get(idx))
            .copied()
            .unwrap_or('.')
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of an entry of the 6x6x6 cube of xterm's 256 colours (levels 0, 95, 135,
    /// 175, 215, 255), by WCAG 2.1.
    fn luminance(color: Color) -> f64 {
        let Color::Indexed(idx) = color else {
            panic!("not one of the 256")
        };
        let levels = [0.0, 95.0, 135.0, 175.0, 215.0, 255.0];
        let linear = |level: f64| {
            let s = level / 255.0;
            if s <= 0.03928 {
                s / 12.92
            } else {
                ((s + 0.055_f64) / 1.055).powf(2.4)
            }
        };
        let cube = usize::from(idx) - 16;
        let [r, g, b] = [cube / 36, cube / 6 % 6, cube % 6].map(|i| linear(levels[i]));
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    #[test]
    fn the_colours_are_readable_on_black_and_on_white() {
        // WCAG 2.1, success criterion 1.4.11: 3 to 1 for graphical marks.
        for color in [THREES, TWOS] {
            let l = luminance(color);
            assert!((l + 0.05) / 0.05 >= 3.0 && 1.05 / (l + 0.05) >= 3.0);
        }
    }

    #[test]
    fn the_chart_tells_none_some_and_most() {
        let theme = |glyphs| Theme {
            palette: Palette::Plain,
            glyphs,
        };
        let chart = |glyphs| [0, 1, 10, 20, 30].map(|n| theme(glyphs).day(n, 30));
        assert_eq!(chart(Glyphs::Ascii), ['.', ':', ':', '|', '#']);
        assert_eq!(chart(Glyphs::Unicode), ['.', '▁', '▃', '▆', '█']);
        assert_eq!(theme(Glyphs::Unicode).day(0, 0), '.');
    }
}
