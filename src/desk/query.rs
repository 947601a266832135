//! Parameters of a request.

use std::borrow::Cow;

/// A parameter of the query, decoded.
pub fn parameter(query: &str, name: &str) -> Option<String> {
    query.split('&').find_map(|pair| {
        let (key, value) = pair.split_once('=')?;
        (key == name).then(|| percent_decoded(value).into_owned())
    })
}

/// Percent-encoding taken off (RFC 3986, 2.1); what is no UTF-8 then is replaced.
fn percent_decoded(text: &str) -> Cow<'_, str> {
    if !text.contains('%') {
        return text.into();
    }
    let bytes = text.as_bytes();
    let hex = |i: usize| text.get(i + 1..i + 3).and_then(|h| u8::from_str_radix(h, 16).ok());
    let (mut out, mut i) = (Vec::new(), 0);
    while i < bytes.len() {
        match (bytes[i], hex(i)) {
            (b'%', Some(byte)) => {
                out.push(byte);
                i += 3;
            }
            (byte, _) => {
                out.push(byte);
                i += 1;
            }
        }
    }
    String::from_utf8_lossy(&out).into_owned().into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_query_is_decoded() {
        assert_eq!(parameter("name=b%C3%A4r%20a.jpg&x=1", "name").as_deref(), Some("bär a.jpg"));
        assert_eq!(parameter("name=100%", "name").as_deref(), Some("100%"));
        assert_eq!(parameter("name=%F", "name").as_deref(), Some("%F"));
        assert_eq!(parameter("x=1", "name"), None);
    }
}
