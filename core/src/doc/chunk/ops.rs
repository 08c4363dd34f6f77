//! The columns of a change chunk: counted first, then read into operations.

use super::read::{Cursor, Rle, encoding};
use super::{Action, Obj, Op, OpRef, Value};
use crate::base::id::ActorId;
use crate::doc::gate::limits;
use crate::doc::gate::reject::{RejectCode, Rejected, over};

/// The columns of maps and values, by their numbers in the format: `id * 16 + type`.
#[derive(Debug, Default)]
pub(crate) struct Columns<'a> {
    obj_actor: &'a [u8],
    obj_counter: &'a [u8],
    key: &'a [u8],
    insert: &'a [u8],
    action: &'a [u8],
    value_meta: &'a [u8],
    value: &'a [u8],
    pred_count: &'a [u8],
    pred_actor: &'a [u8],
    pred_counter: &'a [u8],
}

impl<'a> Columns<'a> {
    fn slot(&mut self, spec: u64) -> Option<&mut &'a [u8]> {
        Some(match spec {
            0x01 => &mut self.obj_actor,
            0x02 => &mut self.obj_counter,
            0x15 => &mut self.key,
            0x34 => &mut self.insert,
            0x42 => &mut self.action,
            0x56 => &mut self.value_meta,
            0x57 => &mut self.value,
            0x70 => &mut self.pred_count,
            0x71 => &mut self.pred_actor,
            0x73 => &mut self.pred_counter,
            _ => return None,
        })
    }

    /// The list of columns and their bytes.
    pub(crate) fn read(from: &mut Cursor<'a>) -> Result<Columns<'a>, Rejected> {
        let n = from.uleb()?;
        if n > 10 {
            return Err(Rejected::new(RejectCode::UnknownColumn, format!("{n} columns")));
        }
        let mut listed = [(0_u64, 0_usize); 10];
        let mut before = None;
        for place in listed.iter_mut().take(usize::try_from(n).unwrap_or(0)) {
            let spec = from.uleb()?;
            if before.is_some_and(|b| b >= spec) {
                return Err(encoding("columns not ascending"));
            }
            before = Some(spec);
            let len = from.length()?;
            if len == 0 {
                return Err(encoding("an empty column"));
            }
            *place = (spec, len);
        }
        let mut columns = Columns::default();
        for (spec, len) in listed.into_iter().take(usize::try_from(n).unwrap_or(0)) {
            let bytes = from.take(len)?;
            let slot = columns.slot(spec);
            *slot.ok_or_else(|| Rejected::new(RejectCode::UnknownColumn, format!("number {spec}")))? = bytes;
        }
        Ok(columns)
    }

    /// How many operations, from run lengths alone; predecessors are counted too.
    pub(crate) fn count(&self) -> Result<u64, Rejected> {
        let most = limits::CHANGE_OPS as u64;
        let too_many = |n| over(RejectCode::TooManyOps, n, most);
        let ops = Rle::<u64>::totals(self.action, most, |_, _| Ok(()), too_many)?;
        let mut preds = 0_u64;
        let add = |each: u64, times: u64| {
            if each > limits::OP_PREDS as u64 {
                return Err(over(
                    RejectCode::TooManyPreds,
                    format!("{each} of one operation"),
                    limits::OP_PREDS,
                ));
            }
            preds = preds.saturating_add(each.saturating_mul(times));
            if preds > limits::CHANGE_PREDS as u64 {
                return Err(over(RejectCode::TooManyPreds, preds, limits::CHANGE_PREDS));
            }
            Ok(())
        };
        Rle::<u64>::totals(self.pred_count, most, add, too_many)?;
        Ok(ops)
    }

    /// Reads the operations, as many as were counted.
    pub(crate) fn ops(
        &self,
        count: u64,
        start_op: u64,
        own: ActorId,
        others: &[ActorId],
    ) -> Result<(Vec<Op<'a>>, Vec<OpRef>), Rejected> {
        if !self.insert_is(count)? {
            return Err(Rejected::new(RejectCode::Action, "insertion into a list"));
        }
        let mut r = Readers::new(self, own, others);
        let mut ops = Vec::with_capacity(usize::try_from(count).unwrap_or(0));
        for number in start_op..start_op.saturating_add(count) {
            ops.push(r.op(number)?);
        }
        let preds = r.finish()?;
        Ok((ops, preds))
    }

    /// The insert column: that many times no, and nothing else.
    fn insert_is(&self, count: u64) -> Result<bool, Rejected> {
        if count == 0 {
            return Ok(self.insert.is_empty());
        }
        let mut from = Cursor::new(self.insert);
        let no = from.uleb()?;
        if no == count {
            return if from.is_empty() { Ok(true) } else { Err(encoding("insert column")) };
        }
        if no < count && !from.is_empty() { Ok(false) } else { Err(encoding("insert column")) }
    }
}

struct Readers<'a, 'o> {
    obj_actor: Rle<'a, u64>,
    obj_counter: Rle<'a, u64>,
    key: Rle<'a, &'a str>,
    action: Rle<'a, u64>,
    meta: Rle<'a, u64>,
    value: Cursor<'a>,
    pred_count: Rle<'a, u64>,
    pred_actor: Rle<'a, u64>,
    pred_counter: Rle<'a, i64>,
    pred_at: i64,
    preds: Vec<OpRef>,
    own: ActorId,
    others: &'o [ActorId],
    /// One bit for each actor that was named; at most 65.
    named: u128,
}

impl<'a, 'o> Readers<'a, 'o> {
    fn new(c: &Columns<'a>, own: ActorId, others: &'o [ActorId]) -> Readers<'a, 'o> {
        Readers {
            obj_actor: Rle::new(c.obj_actor),
            obj_counter: Rle::new(c.obj_counter),
            key: Rle::new(c.key),
            action: Rle::new(c.action),
            meta: Rle::new(c.value_meta),
            value: Cursor::new(c.value),
            pred_count: Rle::new(c.pred_count),
            pred_actor: Rle::new(c.pred_actor),
            pred_counter: Rle::new(c.pred_counter),
            pred_at: 0,
            preds: Vec::new(),
            own,
            others,
            named: 1,
        }
    }

    fn op(&mut self, number: u64) -> Result<Op<'a>, Rejected> {
        let obj = match (self.obj_actor.next()?, self.obj_counter.next()?) {
            (None, None) => Obj::Root,
            (Some(actor), Some(counter)) => Obj::Map(self.named(actor, counter)?),
            _ => return Err(encoding("object column")),
        };
        let key =
            self.key.next()?.ok_or_else(|| Rejected::new(RejectCode::Action, "an element of a list"))?;
        let action = self.action.some("action column")?;
        let meta = self.meta.some("value column")?;
        let action = match action {
            0 if meta == 0 => Action::MakeMap,
            0 => return Err(encoding("a map with a value")),
            1 => Action::Set(self.value(meta)?),
            2 => return Err(Rejected::new(RejectCode::Action, "a list")),
            3 if meta == 0 => Action::Drop,
            3 => return Err(encoding("a deletion with a value")),
            4 => return Err(Rejected::new(RejectCode::Action, "a text object")),
            5 => return Err(Rejected::new(RejectCode::Action, "an increment")),
            7 => return Err(Rejected::new(RejectCode::Action, "a mark")),
            n => return Err(Rejected::new(RejectCode::Action, format!("action {n}"))),
        };
        let preds = self.preds(number)?;
        if action == Action::Drop && preds.is_empty() {
            return Err(Rejected::new(RejectCode::Pred, "of a deletion: none"));
        }
        Ok(Op { obj, key, action, preds })
    }

    fn named(&mut self, actor: u64, counter: u64) -> Result<OpRef, Rejected> {
        let actor = usize::try_from(actor).unwrap_or(usize::MAX);
        if actor > self.others.len() {
            return Err(encoding("an actor that the change does not list"));
        }
        if counter == 0 || counter > limits::MAX_OP {
            return Err(over(RejectCode::OpNumber, counter, limits::MAX_OP));
        }
        self.named |= 1 << actor;
        Ok(OpRef { counter, actor })
    }

    fn preds(&mut self, number: u64) -> Result<core::ops::Range<usize>, Rejected> {
        let from = self.preds.len();
        let mut before: Option<(u64, ActorId)> = None;
        for _ in 0..self.pred_count.some("predecessor column")? {
            let actor = self.pred_actor.some("predecessor column")?;
            let step = self.pred_counter.some("predecessor column")?;
            self.pred_at = self.pred_at.checked_add(step).ok_or_else(|| encoding("predecessor column"))?;
            let counter = u64::try_from(self.pred_at).map_err(|_| encoding("predecessor column"))?;
            let pred = self.named(actor, counter)?;
            if counter >= number {
                return Err(Rejected::new(RejectCode::Pred, "a later operation"));
            }
            let id = (
                counter,
                *pred
                    .actor
                    .checked_sub(1)
                    .map_or(Some(&self.own), |n| self.others.get(n))
                    .ok_or_else(|| encoding("predecessor column"))?,
            );
            if before.is_some_and(|b| b >= id) {
                return Err(encoding("predecessors not ascending"));
            }
            before = Some(id);
            self.preds.push(pred);
        }
        Ok(from..self.preds.len())
    }

    fn value(&mut self, meta: u64) -> Result<Value<'a>, Rejected> {
        let len = usize::try_from(meta >> 4).map_err(|_| super::read::truncated())?;
        let bytes = self.value.take(len)?;
        let empty = |v| if len == 0 { Ok(v) } else { Err(encoding("a value with superfluous bytes")) };
        match meta & 15 {
            0 => empty(Value::Null),
            1 => empty(Value::Bool(false)),
            2 => empty(Value::Bool(true)),
            4 => number(bytes).map(Value::Int),
            6 => core::str::from_utf8(bytes).map(Value::Text).map_err(|_| encoding("text that is not UTF-8")),
            7 => Ok(Value::Bytes(bytes)),
            9 => number(bytes).map(Value::Time),
            3 => Err(Rejected::new(RejectCode::ValueType, "an unsigned number")),
            5 => Err(Rejected::new(RejectCode::ValueType, "a floating-point number")),
            8 => Err(Rejected::new(RejectCode::ValueType, "a counter")),
            n => Err(Rejected::new(RejectCode::ValueType, format!("type {n}"))),
        }
    }

    fn finish(self) -> Result<Vec<OpRef>, Rejected> {
        self.obj_actor.finish("object column")?;
        self.obj_counter.finish("object column")?;
        self.key.finish("key column")?;
        self.action.finish("action column")?;
        self.meta.finish("value column")?;
        self.pred_count.finish("predecessor column")?;
        self.pred_actor.finish("predecessor column")?;
        self.pred_counter.finish("predecessor column")?;
        if !self.value.is_empty() {
            return Err(encoding("values that nothing refers to"));
        }
        let all = self.others.len() + 1;
        if self.named.count_ones() as usize != all {
            return Err(encoding("an actor that no operation names"));
        }
        Ok(self.preds)
    }
}

fn number(bytes: &[u8]) -> Result<i64, Rejected> {
    let mut from = Cursor::new(bytes);
    let n = from.sleb()?;
    if from.is_empty() { Ok(n) } else { Err(encoding("a number with superfluous bytes")) }
}
