/** Prefix codes of a limited length (RFC 1951, 3.2.2). */

// What building a code works in, in order.
const SORTED: usize = 0;
const TREE: usize = SORTED + 4 * 288;
const OF_LENGTH: usize = TREE + 4 * 288;
const DIGITS: usize = OF_LENGTH + 4 * 64;
export const BUILDING_BYTES: usize = DIGITS + 4 * 256;

/** Below it, sorting by insertion is shorter. */
const FEW = 40;

/** `n` symbols with their counts from bit 9 on, below 65536, in the order of the symbols: to the order of their counts. `other` and `digits` are room for it. */
function sortByCount(list: usize, n: i32, other: usize, digits: usize): void {
  if (n < FEW) {
    for (let i = 1; i < n; i++) {
      const key = load<u32>(list + (usize(i) << 2));
      let j = i;
      for (; j > 0 && load<u32>(list + (usize(j - 1) << 2)) > key; j--) store<u32>(list + (usize(j) << 2), load<u32>(list + (usize(j - 1) << 2)));
      store<u32>(list + (usize(j) << 2), key);
    }
    return;
  }
  // Digit by digit from the last, each time in the order of before: a sort by comparing waits for branches that nobody foresees.
  let from = list;
  let to = other;
  for (let digit: u32 = 9; digit < 25; digit += 8) {
    memory.fill(digits, 0, 4 * 256);
    for (let i = 0; i < n; i++) {
      const at = digits + (usize((load<u32>(from + (usize(i) << 2)) >> digit) & 255) << 2);
      store<u32>(at, load<u32>(at) + 1);
    }
    let before: u32 = 0;
    for (let i: usize = 0; i < 1024; i += 4) {
      const count = load<u32>(digits + i);
      store<u32>(digits + i, before);
      before += count;
    }
    for (let i = 0; i < n; i++) {
      const key = load<u32>(from + (usize(i) << 2));
      const at = digits + (usize((key >> digit) & 255) << 2);
      const place = load<u32>(at);
      store<u32>(at, place + 1);
      store<u32>(to + (usize(place) << 2), key);
    }
    const swapped = from;
    from = to;
    to = swapped;
  }
  if (from != list) memory.copy(list, from, usize(n) << 2);
}

/**
 * A prefix code of at most `limit` bits for the symbols counted at `counts` (each below 65536), at least two of which get one: into `codes`,
 * as putCode (common-deflate.ts) takes them. `work`: BUILDING_BYTES of memory. Lengths by Moffat and Katajainen, "In-place calculation of minimum-redundancy codes" (1995),
 * brought below the limit by lengthening the rarest (Kraft's sum kept at one); codes as RFC 1951, 3.2.2.
 */
export function buildCode(work: usize, counts: usize, symbols: i32, limit: i32, codes: usize): void {
  const sorted = work + SORTED;
  const tree = work + TREE;
  const ofLength = work + OF_LENGTH;
  let used = 0;
  for (let s = 0; s < symbols; s++) if (load<u32>(counts + (usize(s) << 2)) != 0) used++;
  // Every decoder takes a code of two; some take none of fewer.
  let missing = used < 2 ? 2 - used : 0;
  let n = 0;
  for (let s = 0; s < symbols; s++) {
    let count = load<u32>(counts + (usize(s) << 2));
    store<u32>(codes + (usize(s) << 2), 0);
    if (count == 0 && missing > 0) {
      count = 1;
      missing--;
    }
    if (count != 0) store<u32>(sorted + (usize(n++) << 2), (count << 9) | u32(s));
  }
  sortByCount(sorted, n, tree, work + DIGITS);
  for (let i = 0; i < n; i++) store<u32>(tree + (usize(i) << 2), load<u32>(sorted + (usize(i) << 2)) >> 9);
  // Weights become parents, parents become depths of inner nodes, those become lengths of leaves.
  store<u32>(tree, load<u32>(tree) + load<u32>(tree, 4));
  let root = 0;
  let leaf = 2;
  for (let next = 1; next < n - 1; next++) {
    let sum: u32 = 0;
    for (let child = 0; child < 2; child++) {
      const inner = tree + (usize(root) << 2);
      const outer = tree + (usize(leaf) << 2);
      if (leaf >= n || (root < next && load<u32>(inner) < load<u32>(outer))) {
        sum += load<u32>(inner);
        store<u32>(inner, next);
        root++;
      } else {
        sum += load<u32>(outer);
        leaf++;
      }
    }
    store<u32>(tree + (usize(next) << 2), sum);
  }
  store<u32>(tree + (usize(n - 2) << 2), 0);
  for (let next = n - 3; next >= 0; next--) {
    const node = tree + (usize(next) << 2);
    store<u32>(node, load<u32>(tree + (usize(load<u32>(node)) << 2)) + 1);
  }
  memory.fill(ofLength, 0, 4 * 64);
  let open = 1;
  let inner = n - 2;
  let left = n;
  let total: u32 = 0;
  for (let depth = 0; open > 0; depth++) {
    let nodes = 0;
    while (inner >= 0 && load<u32>(tree + (usize(inner) << 2)) == u32(depth)) {
      nodes++;
      inner--;
    }
    const leaves = open - nodes;
    left -= leaves;
    const length = depth < limit ? depth : limit;
    const at = ofLength + (usize(length) << 2);
    store<u32>(at, load<u32>(at) + leaves);
    total += u32(leaves) << (limit - length);
    open = 2 * nodes;
  }
  while (total > u32(1) << limit) {
    const deepest = ofLength + (usize(limit) << 2);
    store<u32>(deepest, load<u32>(deepest) - 1);
    for (let length = limit - 1; ; length--) {
      const at = ofLength + (usize(length) << 2);
      if (load<u32>(at) == 0) continue;
      store<u32>(at, load<u32>(at) - 1);
      store<u32>(at, load<u32>(at, 4) + 2, 4);
      break;
    }
    total--;
  }
  // The rarest have the longest; of equal length the codes go up with the symbols.
  let rarest = 0;
  for (let length = limit; length > 0; length--) {
    for (let left = load<u32>(ofLength + (usize(length) << 2)); left > 0; left--) {
      store<u32>(codes + usize((load<u32>(sorted + (usize(rarest++) << 2)) & 511) << 2), u32(length) << 16);
    }
  }
  let code: u32 = 0;
  store<u32>(ofLength, 0);
  for (let length = 1; length <= limit; length++) {
    code = (code + load<u32>(ofLength + (usize(length - 1) << 2))) << 1;
    store<u32>(tree + (usize(length) << 2), code);
  }
  assignCodes(codes, symbols, tree);
}

/** Bits of the codes whose lengths stand in `codes`, in sending order; `next` holds the first code of each length. */
export function assignCodes(codes: usize, symbols: i32, next: usize): void {
  for (let s = 0; s < symbols; s++) {
    const at = codes + (usize(s) << 2);
    const length = load<u32>(at) >> 16;
    if (length == 0) continue;
    const first = next + usize(length << 2);
    const code = load<u32>(first);
    store<u32>(first, code + 1);
    // The 16 bits turned round: neighbours, pairs, fours, bytes.
    let turned = ((code & 0x5555) << 1) | ((code >> 1) & 0x5555);
    turned = ((turned & 0x3333) << 2) | ((turned >> 2) & 0x3333);
    turned = ((turned & 0x0f0f) << 4) | ((turned >> 4) & 0x0f0f);
    turned = ((turned & 0x00ff) << 8) | (turned >> 8);
    store<u32>(at, length << 16 | turned >> (16 - length));
  }
}
