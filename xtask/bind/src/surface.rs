//! The surface of the phone library as text: one line for each thing that an app can name, in an order that
//! does not depend on the source's. What changes it changes what apps were compiled for.

use std::fmt::Write as _;

use uniffi_bindgen::ComponentInterface;
use uniffi_bindgen::interface::{AsType, Callable, DefaultValue, Field, Literal, Type};

/// All of it.
pub(crate) fn of(ci: &ComponentInterface) -> String {
    let mut lines = vec![format!("contract {}", ci.uniffi_contract_version())];
    for f in ci.function_definitions() {
        lines.push(format!("function {}{}", f.name(), call(f)));
    }
    for o in ci.object_definitions() {
        let kind = if o.has_callback_interface() { "outside" } else { "object" };
        lines.push(format!("{kind} {}", o.name()));
        for c in o.constructors() {
            lines.push(format!("{kind} {}.{}{}", o.name(), c.name(), call(c)));
        }
        // How they stand in the table of calls of something that an app implements matters.
        for (n, m) in o.methods().into_iter().enumerate() {
            let place = if o.has_callback_interface() { format!("[{n}]") } else { String::new() };
            lines.push(format!("{kind} {}.{}{place}{}", o.name(), m.name(), call(m)));
        }
    }
    for r in ci.record_definitions() {
        lines.push(format!("record {} {{{}}}", r.name(), fields(r.fields())));
    }
    for e in ci.enum_definitions() {
        let kind = if ci.is_name_used_as_error(e.name()) { "error" } else { "enum" };
        for (n, v) in e.variants().iter().enumerate() {
            let fields = if v.has_fields() { format!(" {{{}}}", fields(v.fields())) } else { String::new() };
            lines.push(format!("{kind} {}[{n:02}] {}{fields}", e.name(), v.name()));
        }
    }
    lines.sort();
    let mut text = String::new();
    for line in lines {
        // Writing into a text does not fail.
        let _ = writeln!(text, "{line}");
    }
    text
}

fn call(c: &dyn Callable) -> String {
    let arguments: Vec<String> =
        c.arguments().into_iter().map(|a| format!("{}: {}", a.name(), name(&a.as_type()))).collect();
    let answer = c.return_type().map_or_else(String::new, |t| format!(" -> {}", name(t)));
    let throws = c.throws_type().map_or_else(String::new, |t| format!(" throws {}", name(t)));
    format!("({}){answer}{throws}", arguments.join(", "))
}

fn fields(all: &[Field]) -> String {
    let one = |f: &Field| {
        let optional = f.default_value().map_or_else(String::new, |value| format!(" = {}", default(value)));
        format!("{}: {}{optional}", f.name(), name(&f.as_type()))
    };
    all.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// What stands for a field that an app leaves out: another value is another meaning of what it compiled.
fn default(value: &DefaultValue) -> String {
    match value {
        DefaultValue::Default => "default".to_owned(),
        DefaultValue::Literal(Literal::None) => "none".to_owned(),
        DefaultValue::Literal(Literal::UInt(n, ..)) => n.to_string(),
        DefaultValue::Literal(Literal::Int(n, ..)) => n.to_string(),
        DefaultValue::Literal(Literal::EmptySequence) => "[]".to_owned(),
        DefaultValue::Literal(other) => format!("{other:?}"),
    }
}

fn name(t: &Type) -> String {
    match t {
        Type::Optional { inner_type } => format!("{}?", name(inner_type)),
        Type::Sequence { inner_type } => format!("[{}]", name(inner_type)),
        Type::Set { inner_type } => format!("set of {}", name(inner_type)),
        Type::Map { key_type, value_type } => format!("[{}: {}]", name(key_type), name(value_type)),
        Type::Box { inner_type } => name(inner_type),
        named => named.name().map_or_else(|| format!("{named:?}").to_lowercase(), str::to_owned),
    }
}
