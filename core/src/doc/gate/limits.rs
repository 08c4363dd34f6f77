//! Every limit of the gate in one place, each with its reason. Knows no document and no wire.

/// Most bytes of one upload for one document. A season plan copied whole takes 0.3 MiB.
pub const UPLOAD_BYTES: usize = 8 << 20;
/// Most bytes of one change. The largest honest one copies a season of templates: about 60 kB.
pub const CHUNK_BYTES: usize = 256 << 10;
/// Most changes of one upload for one document. Two weeks without a signal make 264.
pub const UPLOAD_CHANGES: usize = 2_000;
/// Most operations of one change. Runs are counted before anything is expanded: a hundred bytes
/// can claim any number.
pub const CHANGE_OPS: usize = 4_096;
/// Most operations of one upload: run lengths make many large changes cheap to send, and each
/// operation costs the document library about a hundred bytes.
pub const UPLOAD_OPS: usize = 65_536;
/// Most predecessors of one operation: that many people would have met in one field at once.
pub const OP_PREDS: usize = 64;
/// Most predecessors of one change, counted before expansion.
pub const CHANGE_PREDS: usize = 4_096;
/// Most changes that one change follows directly.
pub const DEPS: usize = 64;
/// Most other actors that one change names.
pub const ACTORS: usize = 64;
/// Most actors of one document. Each start of an app that writes is one; twenty a day for two years.
pub const DOC_ACTORS: usize = 16_384;
/// Most bytes of a change's message. Ours have none or a word.
pub const MESSAGE_BYTES: usize = 200;
/// Highest operation number. Beyond 2^32 the document library fails for ever; a thousand edits
/// a second reach this in twelve days, people never.
pub const MAX_OP: u64 = 1 << 30;
/// Seconds from 1970, either way, that a change may carry. It is only shown, but differences of
/// wilder values overflow when a document is saved.
pub const TIME_SECONDS: u64 = 1 << 40;
/// Deepest nesting of maps, root included. A reader may recurse that far.
pub const DEPTH: usize = 8;
/// Most steps of looking back through history for one upload: only made-up histories need more.
pub const WALK_STEPS: usize = 1 << 22;
/// Most bytes that deflated bytes may inflate to, per byte, beyond a first 64 KiB. Honest uploads
/// reach 4; a thousand is what deflate can do. What would inflate more is packed as it is.
pub const THIN_RATIO: usize = 200;
