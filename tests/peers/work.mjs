// The invented work that every peer is given: entries of eight fields, a thousand that the server has and 260 that it
// has not. Knows no peer.

export const EARLIER = 1_000;
export const FRESH = 260;
export const ALL = EARLIER + FRESH;

// Small numbers that are the same in every run.
let seed = 7;
function below(most) {
  seed = (seed * 1_103_515_245 + 12_345) % 2_147_483_648;
  return Math.floor((seed / 2_147_483_648) * most);
}

const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
const key = () => "e" + Array.from({ length: 21 }, () => LETTERS[below(64)]).join("");

// Every entry with its key, in the order in which they were made.
export const ENTRIES = Array.from({ length: ALL }, (_, n) => [
  key(),
  {
    session: Math.floor(n / 22),
    exercise: below(40),
    at: 1_790_000_000 + n * 60,
    load: 40_000 + 250 * below(400),
    reps: 1 + below(8),
    effort: 60 + below(40),
    speed: 500 + below(300),
    rest: 60 * (1 + below(4)),
  },
]);
