//! Writes change chunks from parts, right or wrong, with a right checksum.

use automerge::Change;
use sha2::{Digest as _, Sha256};

pub fn uleb(out: &mut Vec<u8>, mut n: u64) {
    while n >= 0x80 {
        out.push(u8::try_from(n & 0x7f).unwrap() | 0x80);
        n >>= 7;
    }
    out.push(u8::try_from(n).unwrap());
}

pub fn sleb(out: &mut Vec<u8>, mut n: i64) {
    loop {
        let low = u8::try_from(n & 0x7f).unwrap();
        n >>= 7;
        if (n == 0 && low & 0x40 == 0) || (n == -1 && low & 0x40 != 0) {
            return out.push(low);
        }
        out.push(low | 0x80);
    }
}

/// A run-length column.
pub fn rle<T: Clone + PartialEq>(values: &[Option<T>], write: impl Fn(&mut Vec<u8>, &T)) -> Vec<u8> {
    let mut out = Vec::new();
    if values.iter().all(Option::is_none) {
        return out;
    }
    let run = |at: usize| values[at..].iter().take_while(|v| **v == values[at]).count();
    let mut at = 0;
    while at < values.len() {
        let n = run(at);
        match &values[at] {
            None => {
                sleb(&mut out, 0);
                uleb(&mut out, n as u64);
                at += n;
            }
            Some(v) if n > 1 => {
                sleb(&mut out, i64::try_from(n).unwrap());
                write(&mut out, v);
                at += n;
            }
            Some(_) => {
                let mut end = at;
                while end < values.len() && values[end].is_some() && run(end) == 1 {
                    end += 1;
                }
                sleb(&mut out, -i64::try_from(end - at).unwrap());
                values[at..end].iter().flatten().for_each(|v| write(&mut out, v));
                at = end;
            }
        }
    }
    out
}

/// A chunk of any type around contents.
pub fn chunk(kind: u8, contents: &[u8]) -> Vec<u8> {
    let mut named = vec![kind];
    uleb(&mut named, contents.len() as u64);
    named.extend_from_slice(contents);
    let hash = Sha256::digest(&named);
    let mut out = vec![0x85, 0x6f, 0x4a, 0x83];
    out.extend_from_slice(&hash[..4]);
    out.extend_from_slice(&named);
    out
}

/// The name of a chunk.
pub fn name(chunk: &[u8]) -> [u8; 32] {
    Sha256::digest(&chunk[chunk.len().min(8)..]).into()
}

/// Puts the right checksum into a chunk.
pub fn repair(chunk: &mut [u8]) {
    if chunk.len() > 8 {
        let hash = name(chunk);
        chunk[4..8].copy_from_slice(&hash[..4]);
    }
}

/// One operation, with actors by their place in the change.
#[derive(Clone)]
pub struct Op {
    pub obj: Option<(u64, u64)>,
    pub key: Option<String>,
    pub action: u64,
    /// Type of value and its bytes.
    pub value: (u64, Vec<u8>),
    pub insert: bool,
    pub preds: Vec<(u64, i64)>,
}

impl Op {
    pub fn make(obj: (u64, u64), key: &str) -> Op {
        Op {
            obj: Some(obj),
            key: Some(key.into()),
            action: 0,
            value: (0, vec![]),
            insert: false,
            preds: vec![],
        }
    }

    pub fn set(obj: (u64, u64), key: &str, value: (u64, Vec<u8>)) -> Op {
        Op { action: 1, value, ..Op::make(obj, key) }
    }

    pub fn int(obj: (u64, u64), key: &str, n: i64) -> Op {
        let mut bytes = Vec::new();
        sleb(&mut bytes, n);
        Op::set(obj, key, (4, bytes))
    }

    pub fn time(obj: (u64, u64), key: &str, ms: i64) -> Op {
        let mut op = Op::int(obj, key, ms);
        op.value.0 = 9;
        op
    }

    pub fn pred(mut self, actor: u64, counter: i64) -> Op {
        self.preds.push((actor, counter));
        self
    }
}

/// The parts of a change.
#[derive(Clone, Default)]
pub struct Parts {
    pub deps: Vec<[u8; 32]>,
    pub actor: Vec<u8>,
    pub seq: u64,
    pub start_op: u64,
    pub time: i64,
    pub message: Vec<u8>,
    pub others: Vec<Vec<u8>>,
    pub columns: Vec<(u64, Vec<u8>)>,
    pub extra: Vec<u8>,
}

impl Parts {
    /// After a change of the document library, by the same actor.
    pub fn after(change: &Change) -> Parts {
        Parts {
            deps: vec![change.hash().0],
            actor: change.actor_id().to_bytes().to_vec(),
            seq: change.seq() + 1,
            start_op: change.max_op() + 1,
            ..Parts::default()
        }
    }

    pub fn ops(mut self, ops: &[Op]) -> Parts {
        let mut preds: Vec<(u64, i64)> = Vec::new();
        let mut value = Vec::new();
        for op in ops {
            preds.extend(&op.preds);
            value.extend(&op.value.1);
        }
        let put_u = |out: &mut Vec<u8>, n: &u64| uleb(out, *n);
        let text = |out: &mut Vec<u8>, t: &String| {
            uleb(out, t.len() as u64);
            out.extend_from_slice(t.as_bytes());
        };
        let mut insert = Vec::new();
        let (mut last, mut n) = (false, 0);
        for op in ops {
            if op.insert != last {
                uleb(&mut insert, n);
                (last, n) = (op.insert, 0);
            }
            n += 1;
        }
        if !ops.is_empty() {
            uleb(&mut insert, n);
        }
        let of = |f: &dyn Fn(&Op) -> Option<u64>| rle(&ops.iter().map(f).collect::<Vec<_>>(), put_u);
        let mut before = 0;
        let steps: Vec<Option<i64>> =
            preds.iter().map(|p| Some(std::mem::replace(&mut before, p.1)).map(|b| p.1 - b)).collect();
        self.columns = vec![
            (0x01, of(&|o| o.obj.map(|o| o.0))),
            (0x02, of(&|o| o.obj.map(|o| o.1))),
            (0x15, rle(&ops.iter().map(|o| o.key.clone()).collect::<Vec<_>>(), text)),
            (0x34, insert),
            (0x42, of(&|o| Some(o.action))),
            (0x56, of(&|o| Some((o.value.1.len() as u64) << 4 | o.value.0))),
            (0x57, value),
            (0x70, of(&|o| Some(o.preds.len() as u64))),
            (0x71, rle(&preds.iter().map(|p| Some(p.0)).collect::<Vec<_>>(), put_u)),
            (0x73, rle(&steps, |out, n| sleb(out, *n))),
        ];
        self
    }

    pub fn contents(&self) -> Vec<u8> {
        let mut out = Vec::new();
        uleb(&mut out, self.deps.len() as u64);
        self.deps.iter().for_each(|d| out.extend_from_slice(d));
        uleb(&mut out, self.actor.len() as u64);
        out.extend_from_slice(&self.actor);
        uleb(&mut out, self.seq);
        uleb(&mut out, self.start_op);
        sleb(&mut out, self.time);
        uleb(&mut out, self.message.len() as u64);
        out.extend_from_slice(&self.message);
        uleb(&mut out, self.others.len() as u64);
        for other in &self.others {
            uleb(&mut out, other.len() as u64);
            out.extend_from_slice(other);
        }
        let columns: Vec<_> = self.columns.iter().filter(|c| !c.1.is_empty()).collect();
        uleb(&mut out, columns.len() as u64);
        for (spec, bytes) in &columns {
            uleb(&mut out, *spec);
            uleb(&mut out, bytes.len() as u64);
        }
        columns.iter().for_each(|c| out.extend_from_slice(&c.1));
        out.extend_from_slice(&self.extra);
        out
    }

    pub fn chunk(&self) -> Vec<u8> {
        chunk(1, &self.contents())
    }
}
