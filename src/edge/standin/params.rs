//! The parameters of a call, however they came: in the query, as JSON, urlencoded or multipart.
//! Always true: a number or an object given as text means the same as given plainly.

use std::collections::BTreeMap;

use serde_json::Value;

#[derive(Debug, Default)]
pub(super) struct Params {
    values: BTreeMap<String, Value>,
    /// File parts by the name of the part: file name and contents.
    files: BTreeMap<String, (String, Vec<u8>)>,
}

impl Params {
    /// `None` when the body isn't what its content type says.
    pub(super) fn read(query: &str, content_type: &str, body: &[u8]) -> Option<Params> {
        let mut params = Params::default();
        params.read_pairs(query.as_bytes());
        if content_type.starts_with("application/json") {
            params.read_json(body)?;
        } else if content_type.starts_with("application/x-www-form-urlencoded") {
            params.read_pairs(body);
        } else if content_type.starts_with("multipart/form-data") {
            params.read_multipart(content_type.split_once("boundary=")?.1.trim_matches('"'), body)?;
        }
        Some(params)
    }

    fn read_pairs(&mut self, pairs: &[u8]) {
        let pairs = url::form_urlencoded::parse(pairs);
        self.values.extend(pairs.map(|(key, value)| (key.into_owned(), Value::String(value.into_owned()))));
    }

    fn read_json(&mut self, body: &[u8]) -> Option<()> {
        if body.is_empty() {
            return Some(());
        }
        let Value::Object(fields) = serde_json::from_slice(body).ok()? else { return None };
        self.values.extend(fields);
        Some(())
    }

    fn read_multipart(&mut self, boundary: &str, body: &[u8]) -> Option<()> {
        let line = format!("--{boundary}");
        let mut rest = &body[find(body, line.as_bytes())? + line.len()..];
        let end = format!("\r\n{line}");
        while let Some(part) = rest.strip_prefix(b"\r\n") {
            let length = find(part, end.as_bytes())?;
            self.read_part(&part[..length])?;
            rest = &part[length + end.len()..];
        }
        rest.starts_with(b"--").then_some(())
    }

    fn read_part(&mut self, part: &[u8]) -> Option<()> {
        let split = find(part, b"\r\n\r\n")?;
        let head = std::str::from_utf8(&part[..split]).ok()?;
        let contents = &part[split + 4..];
        let name = attribute(head, "name")?;
        match attribute(head, "filename") {
            Some(file) => {
                self.files.insert(name, (file, contents.to_vec()));
            }
            None => {
                self.values.insert(name, Value::String(String::from_utf8(contents.to_vec()).ok()?));
            }
        }
        Some(())
    }

    pub(super) fn text(&self, name: &str) -> Option<&str> {
        self.values.get(name)?.as_str()
    }

    pub(super) fn int(&self, name: &str) -> Option<i64> {
        let value = self.values.get(name)?;
        value.as_i64().or_else(|| value.as_str()?.parse().ok())
    }

    pub(super) fn flag(&self, name: &str) -> bool {
        self.values
            .get(name)
            .is_some_and(|value| value == &Value::Bool(true) || value.as_str() == Some("true"))
    }

    /// An object or a list, also when it came as text.
    pub(super) fn json(&self, name: &str) -> Option<Value> {
        let value = self.values.get(name)?;
        value.as_str().map_or_else(|| Some(value.clone()), |text| serde_json::from_str(text).ok())
    }

    /// A file under its own name or wherever `attach://` points to.
    pub(super) fn file(&self, name: &str) -> Option<&(String, Vec<u8>)> {
        let part = self.text(name).and_then(|text| text.strip_prefix("attach://")).unwrap_or(name);
        self.files.get(part)
    }
}

fn find(haystack: &[u8], needle: &[u8]) -> Option<usize> {
    haystack.windows(needle.len()).position(|window| window == needle)
}

/// The value of `name="…"` in a part's head.
fn attribute(head: &str, name: &str) -> Option<String> {
    let (_, rest) = head.split_once(&format!("; {name}=\""))?;
    Some(rest.split_once('"')?.0.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_call_in_every_form() {
        let multipart = "--b\r\ncontent-disposition: form-data; name=\"chat_id\"\r\n\r\n-7\r\n--b\r\n\
             Content-Disposition: form-data; name=\"text\"\r\n\r\na b\r\nc\r\n--b--\r\n";
        for (kind, body) in [
            ("application/json", r#"{"chat_id": -7, "text": "a b\r\nc"}"#),
            ("application/x-www-form-urlencoded", "chat_id=-7&text=a+b%0D%0Ac"),
            ("multipart/form-data; boundary=b", multipart),
        ] {
            let params = Params::read("", kind, body.as_bytes()).unwrap();
            assert_eq!((params.int("chat_id"), params.text("text")), (Some(-7), Some("a b\r\nc")), "{kind}");
        }
    }

    #[test]
    fn a_file_is_found_where_attach_points_to() {
        let body = b"--x\r\nContent-Disposition: form-data; name=\"photo\"\r\n\r\nattach://p1\r\n--x\r\n\
            Content-Disposition: form-data; name=\"p1\"; filename=\"a.png\"\r\nContent-Type: image/png\r\n\r\n\x89\r\n\x00\r\n--x--\r\n";
        let params = Params::read("", "multipart/form-data; boundary=x", body).unwrap();
        assert_eq!(params.file("photo"), Some(&("a.png".to_owned(), b"\x89\r\n\x00".to_vec())));
    }

    #[test]
    fn a_body_that_is_not_what_it_says_is_refused() {
        assert!(Params::read("", "application/json", b"[1]").is_none());
        assert!(Params::read("", "multipart/form-data; boundary=x", b"--x\r\nno end").is_none());
    }
}
