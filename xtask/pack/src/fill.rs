//! Texts with places that the build fills: `{{name}}` in scripts, links in the page. Knows no file of ours.

use std::collections::BTreeMap;

/// Names as they are written, and under which name each is served.
pub(crate) type Names = BTreeMap<String, String>;

/// Fills every `{{name}}`.
///
/// # Errors
/// When a place has no value or a value no place: a slip in one of the two files.
pub(crate) fn places(text: &str, values: &[(&str, String)]) -> Result<String, String> {
    let mut out = text.to_owned();
    for (name, value) in values {
        let place = format!("{{{{{name}}}}}");
        if !out.contains(&place) {
            return Err(format!("there is no place {place}"));
        }
        out = out.replace(&place, value);
    }
    match out.split_once("{{").and_then(|(_, rest)| rest.split_once("}}")) {
        Some((left, _)) => Err(format!("nothing is known for the place {{{{{left}}}}}")),
        None => Ok(out),
    }
}

/// Gives everything that a text refers to behind one of `marks` the name under which it is served.
///
/// # Errors
/// When it refers to a file that is not there.
pub(crate) fn links(text: &str, marks: &[&str], names: &Names) -> Result<String, String> {
    let mut out = String::new();
    let mut rest = text;
    while let Some((at, mark)) =
        marks.iter().filter_map(|mark| rest.find(mark).map(|at| (at, mark))).min_by_key(|(at, _)| *at)
    {
        let (before, behind) = rest.split_at(at + mark.len());
        out.push_str(before);
        let (link, after) = behind.split_once('"').ok_or_else(|| format!("{mark} has no end"))?;
        let elsewhere = link.starts_with('#') || link.contains(':');
        if elsewhere {
            out.push_str(link);
        } else {
            let name = link.trim_start_matches("./").trim_start_matches('/');
            let served = names.get(name).ok_or_else(|| format!("{mark}{link}\": there is no such file"))?;
            out.push('/');
            out.push_str(served);
        }
        out.push('"');
        rest = after;
    }
    out.push_str(rest);
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names() -> Names {
        [("a.css", "a-1.css"), ("icons/b.png", "icons/b-2.png")]
            .map(|(a, b)| (a.to_owned(), b.to_owned()))
            .into()
    }

    #[test]
    fn places_and_values_belong_together() {
        let values = [("version", "7".to_owned()), ("files", "[]".to_owned())];
        assert_eq!(places("v {{version}} f {{files}} {{version}}", &values).unwrap(), "v 7 f [] 7");
        assert!(places("v {{version}}", &values).unwrap_err().contains("{{files}}"));
        assert!(places("v {{version}} {{files}} {{page}}", &values).unwrap_err().contains("{{page}}"));
    }

    #[test]
    fn links_get_their_served_names() {
        let marks = ["href=\"", "src=\""];
        let text =
            r##"<a href="a.css"><img src="./icons/b.png"><a href="#x"><a href="https://club.example/">"##;
        let filled = links(text, &marks, &names()).unwrap();
        assert_eq!(
            filled,
            r##"<a href="/a-1.css"><img src="/icons/b-2.png"><a href="#x"><a href="https://club.example/">"##
        );
        assert_eq!(links("nothing", &marks, &names()).unwrap(), "nothing");
        assert!(links(r#"<a href="/c.css">"#, &marks, &names()).unwrap_err().contains("c.css"));
        assert!(links(r#"<a href="/c.css>"#, &marks, &names()).is_err());
    }
}
