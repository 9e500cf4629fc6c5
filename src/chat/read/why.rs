//! The lines that tell how a reading came about. They are made only for who asks; a message that is merely read costs none.

#[derive(Debug, Default)]
pub enum Why {
    Told(Vec<String>),
    #[default]
    Untold,
}

impl Why {
    pub fn note(&mut self, line: impl FnOnce() -> String) {
        if let Why::Told(lines) = self {
            lines.push(line());
        }
    }

    pub fn add(&mut self, more: Why) {
        if let (Why::Told(lines), Why::Told(more)) = (self, more) {
            lines.extend(more);
        }
    }

    /// An empty one of the same kind.
    pub fn another(&self) -> Why {
        match self {
            Why::Told(_) => Why::Told(Vec::new()),
            Why::Untold => Why::Untold,
        }
    }

    pub fn lines(self) -> Vec<String> {
        match self {
            Why::Told(lines) => lines,
            Why::Untold => Vec::new(),
        }
    }
}
