//! Writes XML: elements with attributes and text, all of it escaped, indented by two spaces.

use std::io;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// An attribute: its name and its value.
pub type Attribute<'a> = (&'a str, &'a str);

/// A document under way.
pub struct Xml {
    writer: Writer<Vec<u8>>,
}

impl Xml {
    /// A document in UTF-8.
    #[expect(
        clippy::new_without_default,
        reason = "a document is begun, not assumed"
    )]
    pub fn new() -> Self {
        let mut xml = Self {
            writer: Writer::new_with_indent(Vec::new(), b' ', 2),
        };
        xml.write(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        xml
    }

    /// A document in HTML, which begins otherwise. Elements that may have something in them are
    /// written by [`Xml::text`] or [`Xml::within`] even when they have nothing.
    pub fn html() -> Self {
        let mut xml = Self {
            writer: Writer::new_with_indent(Vec::new(), b' ', 2),
        };
        xml.write(Event::DocType(BytesText::new("html")));
        xml
    }

    /// An element around what `inside` writes.
    pub fn within(
        &mut self,
        name: &str,
        attributes: &[Attribute<'_>],
        inside: impl FnOnce(&mut Self),
    ) {
        self.write(Event::Start(start(name, attributes)));
        inside(self);
        self.write(Event::End(BytesEnd::new(name)));
    }

    /// An element with a text.
    pub fn text(&mut self, name: &str, attributes: &[Attribute<'_>], text: &str) {
        self.write(Event::Start(start(name, attributes)));
        self.write(Event::Text(BytesText::new(&lawful(text))));
        self.write(Event::End(BytesEnd::new(name)));
    }

    /// An element with a number.
    pub fn number(&mut self, name: &str, number: impl Into<i64>) {
        self.text(name, &[], &number.into().to_string());
    }

    /// An element with nothing in it.
    pub fn empty(&mut self, name: &str, attributes: &[Attribute<'_>]) {
        self.write(Event::Empty(start(name, attributes)));
    }

    /// The document, with a newline at its end.
    pub fn finish(self) -> String {
        let mut bytes = self.writer.into_inner();
        bytes.push(b'\n');
        String::from_utf8(bytes).expect("made of strings")
    }

    fn write(&mut self, event: Event<'_>) {
        let written: io::Result<()> = self.writer.write_event(event);
        written.expect("a vector takes every byte");
    }
}

fn start<'a>(name: &'a str, attributes: &[Attribute<'_>]) -> BytesStart<'a> {
    let mut start = BytesStart::new(name);
    for (name, value) in attributes {
        start.push_attribute((*name, lawful(value).as_str()));
    }
    start
}

/// The text with what XML 1.0 has no place for (control characters, U+FFFE and U+FFFF) replaced.
fn lawful(text: &str) -> String {
    let replace = |c: char| match c {
        '\t' | '\n' | '\r' => c,
        '\0'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
        _ => c,
    };
    text.chars().map(replace).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_are_escaped() {
        let mut xml = Xml::new();
        xml.within("a", &[("b", "<\"&'>")], |xml| {
            xml.text("c", &[], "1 < 2 & \u{1}\u{7f}");
        });
        let text = xml.finish();
        assert!(
            text.contains("<a b=\"&lt;&quot;&amp;&apos;&gt;\">"),
            "{text}"
        );
        assert!(
            text.contains("<c>1 &lt; 2 &amp; \u{fffd}\u{7f}</c>"),
            "{text}"
        );
    }
}
