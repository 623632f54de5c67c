//! Rust source cut into the few kinds of token that [`super::scanner`] tells apart.

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    Word(String),
    /// The inside of a string literal.
    Text(String),
    /// `::`
    Join,
    Mark(char),
}

#[derive(Debug, Clone)]
pub struct Token {
    pub line: usize,
    pub kind: Kind,
}

impl Token {
    pub fn is(&self, mark: char) -> bool {
        self.kind == Kind::Mark(mark)
    }

    pub fn word(&self) -> Option<&str> {
        match &self.kind {
            Kind::Word(word) => Some(word),
            _ => None,
        }
    }
}

/// The code of a file: comments, characters and lifetimes are gone, strings are kept as [`Kind::Text`].
pub fn tokens(source: &str) -> Vec<Token> {
    let mut lexer = Lexer { chars: source.chars().collect(), at: 0, line: 1, tokens: Vec::new() };
    lexer.run();
    lexer.tokens
}

struct Lexer {
    chars: Vec<char>,
    at: usize,
    line: usize,
    tokens: Vec<Token>,
}

impl Lexer {
    fn run(&mut self) {
        while let Some(char) = self.peek(0) {
            let line = self.line;
            match char {
                '/' if self.peek(1) == Some('/') => {
                    while self.peek(0).is_some_and(|char| char != '\n') {
                        self.next();
                    }
                }
                '/' if self.peek(1) == Some('*') => self.block_comment(),
                '"' => self.string(line),
                '\'' => self.quote(),
                ':' if self.peek(1) == Some(':') => {
                    self.skip(2);
                    self.push(line, Kind::Join);
                }
                _ if char.is_alphanumeric() || char == '_' => self.word(line),
                _ => {
                    self.next();
                    if !char.is_whitespace() {
                        self.push(line, Kind::Mark(char));
                    }
                }
            }
        }
    }

    fn push(&mut self, line: usize, kind: Kind) {
        self.tokens.push(Token { line, kind });
    }

    fn peek(&self, ahead: usize) -> Option<char> {
        self.chars.get(self.at + ahead).copied()
    }

    fn next(&mut self) -> Option<char> {
        let char = self.peek(0)?;
        self.at += 1;
        if char == '\n' {
            self.line += 1;
        }
        Some(char)
    }

    fn skip(&mut self, count: usize) {
        for _ in 0..count {
            self.next();
        }
    }

    fn block_comment(&mut self) {
        let mut depth = 0_usize;
        while let Some(char) = self.peek(0) {
            match (char, self.peek(1)) {
                ('/', Some('*')) => {
                    depth += 1;
                    self.skip(2);
                }
                ('*', Some('/')) => {
                    depth -= 1;
                    self.skip(2);
                    if depth == 0 {
                        return;
                    }
                }
                _ => self.skip(1),
            }
        }
    }

    /// A word, or a string or character whose prefix it is.
    fn word(&mut self, line: usize) {
        let mut word = String::new();
        while let Some(char) = self.peek(0).filter(|char| char.is_alphanumeric() || *char == '_') {
            word.push(char);
            self.next();
        }
        match (word.as_str(), self.peek(0)) {
            ("b" | "c", Some('"')) => self.string(line),
            ("b", Some('\'')) => self.quote(),
            ("r" | "br" | "cr", Some('"' | '#')) => {
                let hashes = self.chars[self.at..].iter().take_while(|char| **char == '#').count();
                if self.peek(hashes) == Some('"') {
                    self.raw_string(line, hashes);
                } else {
                    // `r#type` is the word `type`.
                    self.skip(hashes);
                }
            }
            _ => self.push(line, Kind::Word(word)),
        }
    }

    fn string(&mut self, line: usize) {
        self.next();
        let mut text = String::new();
        while let Some(char) = self.next() {
            match char {
                '"' => break,
                '\\' => {
                    self.next();
                }
                _ => text.push(char),
            }
        }
        self.push(line, Kind::Text(text));
    }

    fn raw_string(&mut self, line: usize, hashes: usize) {
        self.skip(hashes + 1);
        let mut text = String::new();
        while let Some(char) = self.next() {
            if char == '"' && (0..hashes).all(|ahead| self.peek(ahead) == Some('#')) {
                self.skip(hashes);
                break;
            }
            text.push(char);
        }
        self.push(line, Kind::Text(text));
    }

    /// A character literal or a lifetime; neither names anything.
    fn quote(&mut self) {
        self.next();
        match (self.peek(0), self.peek(1)) {
            (Some('\\'), _) => {
                self.skip(2);
                while self.next().is_some_and(|char| char != '\'') {}
            }
            (_, Some('\'')) => self.skip(2),
            _ => {
                while self.peek(0).is_some_and(|char| char.is_alphanumeric() || char == '_') {
                    self.next();
                }
            }
        }
    }
}
