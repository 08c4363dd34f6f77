//! Writes a program so that it compresses well: functions that are alike stand beside each other, every number is as
//! short as it can be, and nothing is left that is for people. What the program does stays the same. Knows the format
//! of programs, and none of ours.

use std::convert::Infallible;

use wasm_encoder::reencode::{Error, Reencode};
use wasmparser::{
    CodeSectionReader, CustomSectionReader, FunctionBody, FunctionSectionReader, Parser, Payload,
};

/// The new place of every function.
struct Order {
    /// Functions that come from outside: they stand before the program's own, and stay where they are.
    imported: u32,
    /// The program's own functions as they will stand, by their old places.
    new: Vec<usize>,
    /// Where each of them will stand.
    place: Vec<u32>,
}

/// The program with its functions in the new order.
pub(crate) fn alike(program: &[u8]) -> Result<Vec<u8>, String> {
    let wrong = |e: &dyn std::fmt::Display| format!("a program cannot be put in order: {e}");
    let mut order = Order::of(program).map_err(|e| wrong(&e))?;
    let mut made = wasm_encoder::Module::new();
    order.parse_core_module(&mut made, Parser::new(0), program).map_err(|e| wrong(&e))?;
    Ok(made.finish())
}

impl Order {
    fn of(program: &[u8]) -> Result<Order, wasmparser::BinaryReaderError> {
        let mut imported = 0;
        let mut keys = Vec::new();
        for payload in Parser::new(0).parse_all(program) {
            match payload? {
                Payload::ImportSection(imports) => {
                    for import in imports.into_imports() {
                        imported += u32::from(matches!(import?.ty, wasmparser::TypeRef::Func(_)));
                    }
                }
                Payload::CodeSectionEntry(body) => keys.push(key(program, &body)?),
                _ => {}
            }
        }
        let mut new: Vec<usize> = (0..keys.len()).collect();
        // Equal ones keep their order, so that the same program comes out the same.
        new.sort_by(|a, b| keys[*a].cmp(&keys[*b]));
        let mut place = vec![0; new.len()];
        for (there, &here) in (imported..).zip(&new) {
            place[here] = there;
        }
        Ok(Order { imported, new, place })
    }
}

/// By what functions are compared: what they do step by step, and then with what.
fn key<'a>(
    program: &'a [u8],
    body: &FunctionBody<'a>,
) -> Result<(Vec<u8>, &'a [u8]), wasmparser::BinaryReaderError> {
    let mut steps = Vec::new();
    let mut reader = body.get_operators_reader()?;
    while !reader.eof() {
        steps.extend(usize::try_from(reader.original_position()).ok().and_then(|at| program.get(at)));
        reader.read()?;
    }
    Ok((steps, body.as_bytes()))
}

impl Reencode for Order {
    type Error = Infallible;

    fn function_index(&mut self, function: u32) -> Result<u32, Error<Infallible>> {
        let own = function.checked_sub(self.imported).and_then(|own| self.place.get(own as usize));
        Ok(own.copied().unwrap_or(function))
    }

    fn parse_function_section(
        &mut self,
        functions: &mut wasm_encoder::FunctionSection,
        section: FunctionSectionReader<'_>,
    ) -> Result<(), Error<Infallible>> {
        let kinds = section.into_iter().collect::<Result<Vec<u32>, _>>()?;
        for at in self.new.clone() {
            let kind = *kinds.get(at).ok_or(Error::InvalidCodeSectionSize)?;
            functions.function(self.type_index(kind)?);
        }
        Ok(())
    }

    fn parse_code_section(
        &mut self,
        code: &mut wasm_encoder::CodeSection,
        section: CodeSectionReader<'_>,
    ) -> Result<(), Error<Infallible>> {
        let bodies = section.into_iter().collect::<Result<Vec<_>, _>>()?;
        for at in self.new.clone() {
            let body = bodies.get(at).cloned().ok_or(Error::InvalidCodeSectionSize)?;
            self.parse_function_body(code, body)?;
        }
        Ok(())
    }

    fn parse_custom_section(
        &mut self,
        _: &mut wasm_encoder::Module,
        _: CustomSectionReader<'_>,
    ) -> Result<(), Error<Infallible>> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &[u8] = b"\0asm\x01\0\0\0";

    /// Two kinds of functions, one from outside, three own ones, of which the first is called `x`, and a name.
    fn program(code: &[u8]) -> Vec<u8> {
        let kinds: &[u8] = &[1, 8, 2, 0x60, 0, 0, 0x60, 0, 1, 0x7f];
        let imports: &[u8] = &[2, 7, 1, 1, b'e', 1, b'f', 0, 0];
        let functions: &[u8] = &[3, 4, 3, 0, 1, 0];
        let exports: &[u8] = &[7, 5, 1, 1, b'x', 0, 1];
        let names: &[u8] = b"\0\x0b\x04name\x01\x04\x01\0\x01n";
        [HEAD, kinds, imports, functions, exports, code, names].concat()
    }

    #[test]
    fn alike_functions_stand_together_and_each_call_finds_its_own() {
        // Own ones: calls the third (in five bytes) and the one from outside; a number; calls the first.
        let code: &[u8] = &[
            10, 24, 3, //
            10, 0, 0x10, 0x83, 0x80, 0x80, 0x80, 0, 0x10, 0, 0x0b, //
            4, 0, 0x41, 7, 0x0b, //
            6, 0, 0x10, 0x81, 0, 0x01, 0x0b,
        ];
        let made = alike(&program(code)).unwrap();
        // By steps the third comes first, for a call is followed by nothing there; then the first, then the number.
        let functions: &[u8] = &[3, 4, 3, 0, 0, 1];
        let exports: &[u8] = &[7, 5, 1, 1, b'x', 0, 2];
        let code: &[u8] =
            &[10, 19, 3, 5, 0, 0x10, 2, 0x01, 0x0b, 6, 0, 0x10, 1, 0x10, 0, 0x0b, 4, 0, 0x41, 7, 0x0b];
        let expected = [HEAD, &program(&[])[8..27], functions, exports, code].concat();
        assert_eq!(made, expected);
        assert_eq!(alike(&made).unwrap(), made, "in order it stays as it is");
    }

    #[test]
    fn what_is_no_program_is_said() {
        assert!(alike(b"\0asm").unwrap_err().contains("cannot be put in order"));
        assert!(alike(&program(&[10, 4, 1, 2, 0, 0x0b])).is_err(), "fewer bodies than functions");
    }
}
