//! Gathers sentences, each once whatever its numbers are.

use std::collections::BTreeMap;
use std::process::{Command, Stdio};

use serde_json::Value;

/// What the program printed.
#[derive(Debug, Default)]
pub struct Said {
    pub out: String,
    pub error: String,
}

/// Runs the program with a terminal's width that wraps nothing we look at.
pub fn program(arguments: &[&str]) -> Said {
    let mut command = Command::new(env!("CARGO_BIN_EXE_runtrue"));
    command.args(arguments).env("NO_COLOR", "1").env("COLUMNS", "400").stdin(Stdio::null());
    let output = command.output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    Said { out: text(output.stdout), error: text(output.stderr) }
}

/// Keys of JSON that hold words, of one word too; and those whose text is somebody else's.
const WORDED: [&str; 5] = ["verdict", "cause", "what", "set_aside", "headline"];
const NOT_OURS: [&str; 5] = ["name", "note", "column", "unit", "log"];
/// Fewest words of a string under another key to count as a sentence.
const SENTENCE: usize = 3;

/// `text` with the names of earlier sheets, which hold the time they were kept at, written VERSION.
fn without_times(text: &str) -> String {
    let (from, to) = ("weekend-v", ".toml");
    match text.split_once(from).and_then(|(before, rest)| Some((before, rest.split_once(to)?.1))) {
        Some((before, behind)) => format!("{before}VERSION{}", without_times(behind)),
        None => text.to_owned(),
    }
}

/// Sentences by stage; a sentence is known by what is left of it without its numbers.
#[derive(Debug, Default)]
pub struct Words {
    stages: BTreeMap<&'static str, BTreeMap<String, String>>,
    /// What is written otherwise, since it differs each time: a folder, a host.
    passing: Vec<(String, &'static str)>,
}

impl Words {
    /// What follows was said in `folder`, which is written FOLDER.
    pub fn in_folder(&mut self, folder: &str) {
        self.passing = vec![(folder.to_owned(), "FOLDER")];
    }

    /// What follows was said by the server at `host`.
    pub fn by_host(&mut self, host: &str) {
        self.passing.push((host.to_owned(), "HOST"));
    }

    /// Keeps `text` under `stage`, unless one like it is there.
    pub fn add(&mut self, stage: &'static str, text: &str) {
        let lasting = |t: String, (passing, name): &(String, &str)| t.replace(passing, name);
        let text = without_times(&self.passing.iter().fold(text.trim().to_owned(), lasting));
        if !text.is_empty() {
            self.stages.entry(stage).or_default().entry(template(&text)).or_insert(text);
        }
    }

    /// Each line of `text` that holds words; an indented line goes on with the one before, as the terminal wraps it.
    pub fn lines(&mut self, stage: &'static str, text: &str) {
        text.replace("\n  ", " ").lines().filter(|l| is_sentence(l)).for_each(|line| self.add(stage, line));
    }

    /// The sentences of a page.
    pub fn page(&mut self, stage: &'static str, html: &str) {
        text_of(html).iter().for_each(|text| self.add(stage, text));
    }

    /// The sentences of a page that `beside` has not.
    pub fn page_beside(&mut self, stage: &'static str, beside: &'static str, html: &str) {
        let known = |t: &String| self.stages.get(beside).is_some_and(|s| s.contains_key(&template(t)));
        let new: Vec<String> = text_of(html).into_iter().filter(|t| !known(t)).collect();
        new.iter().for_each(|text| self.add(stage, text));
    }

    /// The error that the program printed, as JSON or as text.
    pub fn problem(&mut self, stage: &'static str, said: &Said) {
        for line in said.error.lines() {
            match serde_json::from_str::<Value>(line) {
                Ok(error) => self.remark(stage, "error", &error["error"]),
                Err(_) => self.lines(stage, line),
            }
        }
    }

    /// A message with its hint.
    fn remark(&mut self, stage: &'static str, kind: &str, remark: &Value) {
        let line = |key: &str| remark[key].as_str().filter(|t| !t.is_empty());
        let hint = line("hint").map_or(String::new(), |h| format!("\n  hint: {h}"));
        if let Some(message) = line("message") {
            self.add(stage, &format!("{kind}: {message}{hint}"));
        }
    }

    /// The sentences of a JSON document, each under the stage that `stage` gives for its path of keys.
    pub fn json(&mut self, value: &Value, stage: &dyn Fn(&[String]) -> &'static str) {
        self.walk(value, &mut Vec::new(), stage);
    }

    fn walk(&mut self, value: &Value, path: &mut Vec<String>, stage: &dyn Fn(&[String]) -> &'static str) {
        match value {
            Value::Object(map) if map.contains_key("message") => {
                let kind = value["severity"].as_str().unwrap_or("error").to_owned();
                self.remark(stage(path), &kind, value);
            }
            Value::Object(map) => {
                for (key, inner) in map {
                    path.push(key.clone());
                    self.walk(inner, path, stage);
                    path.pop();
                }
            }
            Value::Array(all) => all.iter().for_each(|inner| self.walk(inner, path, stage)),
            Value::String(text) => {
                let key = path.last().map_or("", String::as_str);
                let worded = WORDED.contains(&key);
                if worded || (is_sentence(text) && !NOT_OURS.contains(&key)) {
                    // What a verdict or a reason belongs to is told by the keys before it.
                    let keys: Vec<&str> = path.iter().map(String::as_str).filter(|k| *k != "runs").collect();
                    self.add(stage(path), &format!("{}: {text}", keys.join(" ")));
                }
            }
            _ => {}
        }
    }

    /// Takes what `other` has and this has not.
    pub fn merge(mut self, other: Words) -> Words {
        for (stage, sentences) in other.stages {
            let own = self.stages.entry(stage).or_default();
            for (template, text) in sentences {
                own.entry(template).or_insert(text);
            }
        }
        self
    }

    /// All of them, stage by stage.
    pub fn in_order(&self, stages: &[&'static str]) -> String {
        let unknown: Vec<_> = self.stages.keys().filter(|s| !stages.contains(s)).collect();
        assert!(unknown.is_empty(), "{unknown:?} is not among the stages");
        let part = |stage: &&'static str| {
            let all = self.stages.get(stage).into_iter().flat_map(|s| s.values()).map(|s| format!("{s}\n"));
            format!("# {stage}\n\n{}", all.collect::<String>())
        };
        stages.iter().map(part).collect::<Vec<_>>().join("\n")
    }
}

/// Words with a letter in `text`.
fn words(text: &str) -> usize {
    text.split_whitespace().filter(|w| w.chars().any(char::is_alphabetic)).count()
}

/// Whether `text` is more than a table's row of figures.
fn is_sentence(text: &str) -> bool {
    let count = |of: fn(char) -> bool| text.chars().filter(|c| of(*c)).count();
    words(text) >= SENTENCE && count(char::is_alphabetic) > count(char::is_numeric)
}

/// `text` with every number as one sign, and the sample's two cars as one, so that sentences that differ in these alone
/// are one.
fn template(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '0'..='9' => {
                if !out.ends_with('#') {
                    out = out.trim_end_matches(['+', '-', '−']).to_owned() + "#";
                }
            }
            // A decimal point between digits belongs to the number.
            '.' if out.ends_with('#') => {}
            c => out.push(c),
        }
    }
    let alike = |word: &str| match word.trim_end_matches(|c: char| !c.is_alphanumeric() && c != '#') {
        "pan" => word.replace("pan", "tourer"),
        "p#" => word.replace('p', "t"),
        _ => word.to_owned(),
    };
    out.split_inclusive(|c: char| !c.is_alphanumeric() && c != '#').map(alike).collect()
}

/// Tags that go on within a sentence.
const INLINE: [&str; 14] =
    ["a", "abbr", "b", "code", "em", "i", "kbd", "q", "s", "small", "span", "strong", "sub", "sup"];
/// A longer text is somebody's sheet on the page.
const LONGEST: usize = 1000;
/// Elements whose content is not read.
const UNREAD: [&str; 4] = ["script", "style", "svg", "textarea"];
/// Attributes that are read or heard.
const SPOKEN: [&str; 4] = [" title=\"", " aria-label=\"", " placeholder=\"", " alt=\""];

/// The sentences of a page: its text, and what titles, labels and placeholders say.
pub fn text_of(html: &str) -> Vec<String> {
    all_text_of(html).into_iter().filter(|t| is_sentence(t) && t.len() < LONGEST).collect()
}

/// The same with the heads and cells of its tables.
pub fn all_text_of(html: &str) -> Vec<String> {
    let mut html = html.to_owned();
    for name in UNREAD {
        while let Some(from) = html.find(&format!("<{name}")) {
            let end = format!("</{name}>");
            let to = html[from..].find(&end).map_or(html.len(), |at| from + at + end.len());
            html.replace_range(from..to, "<br>");
        }
    }
    let (mut texts, mut text) = (Vec::new(), String::new());
    let mut spoken = Vec::new();
    for piece in html.split('<') {
        let (tag, rest) = piece.split_once('>').unwrap_or(("", piece));
        let name = tag.trim_start_matches('/').split(|c: char| !c.is_ascii_alphanumeric()).next().unwrap_or("");
        if !INLINE.contains(&name) {
            texts.push(std::mem::take(&mut text));
        }
        text.push_str(rest);
        let value = |a: &str| tag.split_once(a).and_then(|(_, v)| v.split_once('"')).map(|(v, _)| v.to_owned());
        spoken.extend(SPOKEN.into_iter().filter_map(value));
    }
    texts.push(text);
    texts.extend(spoken);
    let plain = |t: String| {
        let t = t.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&nbsp;", " ");
        let t = t.replace("&#39;", "'").replace("&#x27;", "'").replace("&#38;", "&").replace("&amp;", "&");
        let t = t.replace("&#60;", "<").replace("&#62;", ">").replace("&#34;", "\"");
        t.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    texts.into_iter().map(plain).collect()
}
