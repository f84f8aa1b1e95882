//! How good something is: a shape, a colour and a word.

/// How good a verdict is, shown by shape, word and colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// As it should be.
    Good,
    /// Keep an eye on it.
    Watch,
    /// Do something.
    Act,
    /// Not answered.
    Open,
    /// Worth knowing, neither good nor bad.
    Plain,
}

impl Mark {
    /// Class of the page's style.
    pub fn class(self) -> &'static str {
        match self {
            Mark::Good => "ok",
            Mark::Watch => "watch",
            Mark::Act => "act",
            Mark::Open | Mark::Plain => "open",
        }
    }

    /// Shape, told apart without colour.
    pub fn shape(self) -> &'static str {
        match self {
            Mark::Good => "●",
            Mark::Watch => "◆",
            Mark::Act => "▲",
            Mark::Open => "○",
            Mark::Plain => "▪",
        }
    }

    /// What the shapes mean, for the line under a table of them.
    pub const KEY: [(Mark, &str); 4] =
        [(Mark::Good, "good"), (Mark::Watch, "watch"), (Mark::Act, "act"), (Mark::Open, "cannot tell")];
}
