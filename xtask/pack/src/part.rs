//! Takes out of the compiled page what only some devices need: the program itself, parts beside it, and the script
//! by which the program loads a part. Knows how the library that does it names things, and no screen.

use std::fs;
use std::path::Path;

use crate::order;

/// Where the program looks for what loads its parts. In the files that are served that stands in the glue.
const LINK: &str = "./__wasm_split.js";
/// How the file of a part begins that the library wrote.
const BEFORE: &str = "split_";
/// The line by which the script asks the glue for what it is part of.
const GLUES: &str = "import { initSync } from \"./main.js\";\n";
/// What the script gives to the glue.
const GIVES: &str = "export const ";

/// A compiled page in its parts.
pub(crate) struct Parted {
    /// What every device loads.
    pub(crate) program: Vec<u8>,
    /// The rest, by names.
    pub(crate) parts: Vec<Part>,
    /// The script that loads a part.
    script: String,
}

/// A part beside the program.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Part {
    /// Its name in the program.
    pub(crate) name: String,
    /// The compiled part.
    pub(crate) bytes: Vec<u8>,
}

impl Parted {
    /// Parts a compiled page, with files of its own in `room`.
    pub(crate) fn of(compiled: &[u8], room: &Path, dev: bool) -> Result<Parted, String> {
        let wrong = |path: &Path, e: std::io::Error| format!("{}: {e}", path.display());
        if room.exists() {
            fs::remove_dir_all(room).map_err(|e| wrong(room, e))?;
        }
        let main = room.join("main.wasm");
        let mut how = wasm_split_cli_support::Options::new(compiled);
        how.output_dir = room;
        how.main_out_path = &main;
        how.link_name = LINK;
        how.emit_dwarf = false;
        let made = wasm_split_cli_support::transform(how).map_err(|e| format!("parting the page: {e:#}"))?;
        let mut parts = Vec::new();
        for path in made.split_modules {
            let stem = path.file_stem().and_then(|n| n.to_str()).unwrap_or_default();
            let name = stem.strip_prefix(BEFORE).ok_or_else(|| {
                format!("{stem} belongs to two parts at once, for which the worker has no list")
            })?;
            let bytes = fs::read(&path).map_err(|e| wrong(&path, e))?;
            let bytes = if dev { bytes } else { order::alike(&bytes)? };
            parts.push(Part { name: name.to_owned(), bytes });
        }
        parts.sort_by(|a, b| a.name.cmp(&b.name));
        let link = room.join(LINK);
        let script = fs::read_to_string(&link).map_err(|e| wrong(&link, e))?;
        Ok(Parted { program: fs::read(&main).map_err(|e| wrong(&main, e))?, parts, script })
    }

    /// Parts for tests of what is done with them.
    #[cfg(test)]
    pub(crate) fn like(parts: &[(&str, &[u8])]) -> Parted {
        let mut script = GLUES.to_owned();
        for (name, _) in parts {
            script += &format!(
                "\nlet x = 1;\nconst __chunk = 2;\nexport const __wasm_split_load_{name} = \
                 wrapAsyncCb(makeLoad(() => fetch(new URL(\"./{BEFORE}{name}.wasm\", import.meta.url)), []));\n"
            );
        }
        let parts =
            parts.iter().map(|(name, bytes)| Part { name: (*name).to_owned(), bytes: bytes.to_vec() });
        Parted { program: Vec::new(), parts: parts.collect(), script }
    }

    /// Puts the script into the glue. They need each other, and each would have the other's hash in its name.
    ///
    /// `served` says under which path a part is served.
    pub(crate) fn put_into(
        &self,
        glue: &str,
        served: &dyn Fn(&str) -> Option<String>,
    ) -> Result<String, String> {
        let (before, line, after) = import_of(glue)?;
        let name = line
            .strip_prefix("import * as ")
            .and_then(|rest| rest.split_whitespace().next())
            .ok_or_else(|| format!("the glue imports its parts otherwise than expected: {line}"))?;
        let script = self.script.replacen(GLUES, "", 1);
        if script.len() == self.script.len() || script.contains("import ") {
            return Err("the script of the parts imports otherwise than expected".to_owned());
        }
        let mut gives = Vec::new();
        let mut text = String::new();
        for line in script.lines() {
            let plain = line.strip_prefix(GIVES);
            if let Some((given, _)) = plain.and_then(|rest| rest.split_once(" = ")) {
                gives.push(given.to_owned());
            }
            text.extend([plain.map_or("", |_| "const "), plain.unwrap_or(line), "\n"]);
        }
        for part in &self.parts {
            let file = format!("\"./{BEFORE}{}.wasm\"", part.name);
            let path = served(&part.name).ok_or_else(|| format!("{} is not served", part.name))?;
            if !text.contains(&file) {
                return Err(format!("nothing loads the part {}", part.name));
            }
            text = text.replace(&file, &format!("\"{path}\""));
        }
        Ok(format!("{before}{text}const {name} = {{ {} }};\n{after}", gives.join(", ")))
    }
}

/// The glue before, in and after the line that imports the script.
fn import_of(glue: &str) -> Result<(&str, &str, &str), String> {
    let mut begins = 0;
    for line in glue.split_inclusive('\n') {
        let ends = begins + line.len();
        if line.starts_with("import ") && line.contains(LINK) {
            let parts = (glue.get(..begins), glue.get(ends..));
            let (Some(before), Some(after)) = parts else { break };
            return Ok((before, line.trim_end(), after));
        }
        begins = ends;
    }
    Err("the glue imports no parts".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parted() -> Parted {
        Parted::like(&[("coach", b"")])
    }

    #[test]
    fn the_script_goes_into_the_glue_under_the_name_that_the_glue_uses() {
        let glue = "/* glue */\nimport * as import1 from \"./__wasm_split.js\"\nimports = { a: import1 };\n";
        let made = parted().put_into(glue, &|name| Some(format!("/{name}-1.wasm"))).unwrap();
        assert!(made.starts_with("/* glue */\n"), "{made}");
        assert!(made.contains("new URL(\"/coach-1.wasm\", import.meta.url)"), "{made}");
        assert!(made.contains("\nconst __wasm_split_load_coach = "), "{made}");
        assert!(made.contains("\nconst import1 = { __wasm_split_load_coach };\nimports = {"), "{made}");
        assert!(
            !made.contains("export") && !made.contains("import *") && !made.contains("main.js"),
            "{made}"
        );
    }

    #[test]
    fn what_does_not_fit_is_said() {
        let glue = "import * as import1 from \"./__wasm_split.js\"\n";
        let parted = parted();
        assert!(parted.put_into("let a;", &|_| None).unwrap_err().contains("imports no parts"));
        assert!(parted.put_into(glue, &|_| None).unwrap_err().contains("not served"));
        let unlike = Parted { script: "let a;".to_owned(), ..parted };
        assert!(unlike.put_into(glue, &|_| Some(String::new())).is_err());
    }
}
