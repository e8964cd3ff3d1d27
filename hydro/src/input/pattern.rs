//! Names by pattern.

/// Whether a name fits a pattern in which `*` stands for any run of characters.
pub(crate) fn fits(name: &str, pattern: &str) -> bool {
    let mut parts = pattern.split('*');
    let Some(rest) = parts.next().and_then(|first| name.strip_prefix(first)) else { return false };
    let mut rest = rest;
    let mut parts = parts.peekable();
    if parts.peek().is_none() {
        return rest.is_empty();
    }
    while let Some(part) = parts.next() {
        if parts.peek().is_none() {
            return rest.ends_with(part);
        }
        match rest.find(part) {
            Some(at) => rest = &rest[at + part.len()..],
            None => return false,
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::fits;

    #[test]
    fn patterns() {
        for (name, pattern, wanted) in [
            ("burst-1", "*", true),
            ("burst-1", "burst-*", true),
            ("burst-1", "*-1", true),
            ("burst-1", "b*t-*", true),
            ("burst-1", "sustain*", false),
            ("aa", "a*a*a", false),
            ("a.b", "a.*", true),
            ("a", "a", true),
            ("ab", "a", false),
        ] {
            assert_eq!(fits(name, pattern), wanted, "{name} {pattern}");
        }
    }
}
