/**
 * An editor of the boxes of a QuickTime or MP4 file, for tests: changes one field, takes a box out or puts one in, and nothing else. It shares no
 * code with the checker's reader. Source: ISO/IEC 14496-12, 4.2, 8.5.2, 8.7.5.
 */

interface Node {
  readonly type: string;
  /** Bytes before the children; all of the content where there are none. */
  head: Buffer;
  readonly children: Node[] | null;
  /** Bytes behind the children. */
  tail: Buffer;
  /** Byte of the original file; -1: new. */
  readonly at: number;
}

const plainParents = ['moov', 'trak', 'edts', 'mdia', 'minf', 'dinf', 'stbl', 'gmhd', 'tref', 'udta', 'wave'];
const entryHeads: Readonly<Record<string, number>> = {
  avc1: 78,
  AVdh: 78,
  apco: 78,
  apcs: 78,
  apcn: 78,
  apch: 78,
  ap4h: 78,
  mp4a: 28,
  in24: 44,
  sowt: 28,
  tmcd: 26,
};

function headBytes(type: string, parent: string, content: Buffer): number | null {
  if (parent === 'stsd')
    return type === 'mp4a' && content.readUInt16BE(8) === 1 ? 44 : (entryHeads[type] ?? null);
  if (plainParents.includes(type)) return 0;
  if (type === 'stsd' || type === 'dref') return 8;
  if (type === 'meta') return 4;
  return type === 'tmcd' && parent === 'gmhd' ? 0 : null;
}

function parse(bytes: Buffer, base: number, parent: string): { nodes: Node[]; tail: Buffer } {
  const nodes: Node[] = [];
  let at = 0;
  while (at + 8 <= bytes.length) {
    const short = bytes.readUInt32BE(at);
    const size = short === 0 ? bytes.length - at : short;
    const type = bytes.toString('latin1', at + 4, at + 8);
    const content = bytes.subarray(at + 8, at + size);
    const head = headBytes(type, parent, content);
    if (head === null)
      nodes.push({ type, head: Buffer.from(content), children: null, tail: Buffer.alloc(0), at: base + at });
    else {
      const inside = parse(content.subarray(head), base + at + 8 + head, type);
      nodes.push({
        type,
        head: Buffer.from(content.subarray(0, head)),
        children: inside.nodes,
        tail: inside.tail,
        at: base + at,
      });
    }
    at += size;
  }
  return { nodes, tail: Buffer.from(bytes.subarray(at)) };
}

function bytesOf({ type, head, children, tail }: Node): Buffer {
  const content = Buffer.concat([head, ...(children ?? []).map(bytesOf), tail]);
  return box(type, content);
}

/** A box of its own: `box('free', Buffer.alloc(8))`. */
export function box(type: string, ...content: readonly Buffer[]): Buffer {
  const all = Buffer.concat(content);
  const header = Buffer.alloc(8);
  header.writeUInt32BE(all.length + 8);
  header.write(type, 4, 'latin1');
  return Buffer.concat([header, all]);
}

/** Numbers of 32 bits, one behind the other. */
export function words(...values: readonly number[]): Buffer {
  const bytes = Buffer.alloc(4 * values.length);
  for (const [index, value] of values.entries()) bytes.writeInt32BE(value | 0, 4 * index);
  return bytes;
}

export class MovieEditor {
  readonly #nodes: Node[];
  readonly #indexBytes: number;
  readonly #indexFirst: boolean;

  constructor(bytes: Buffer) {
    this.#nodes = parse(bytes, 0, '').nodes;
    const types = this.#nodes.map(({ type }) => type);
    this.#indexFirst = types.indexOf('moov') < types.indexOf('mdat');
    this.#indexBytes = this.#sizeOfIndex();
  }

  #sizeOfIndex(): number {
    return this.#nodes
      .filter(({ type }) => type === 'moov')
      .reduce((sum, node) => sum + bytesOf(node).length, 0);
  }

  /** `moov/trak[2]/tkhd`: numbers count boxes of one type from 1 on. Throws for what is not there. */
  #find(path: string): { node: Node; siblings: Node[] } {
    let siblings = this.#nodes;
    let node: Node | undefined;
    for (const part of path.split('/')) {
      const [, type, number] = /^(.*?)(?:\[(\d+)\])?$/s.exec(part) ?? [];
      const holder: Node[] = node === undefined ? this.#nodes : (node.children ?? []);
      siblings = holder;
      node = holder.filter((one) => one.type === type)[Number(number ?? 1) - 1];
      if (node === undefined) throw new Error(`no ${part} of ${path}`);
    }
    return { node: node as Node, siblings };
  }

  /** Where the box begins in the file that was given. */
  at(path: string): number {
    return this.#find(path).node.at;
  }

  has(path: string): boolean {
    try {
      return this.#find(path) !== null;
    } catch {
      return false;
    }
  }

  content(path: string): Buffer {
    return this.#find(path).node.head;
  }

  /** Bytes of the content from `offset` on. */
  write(path: string, offset: number, bytes: Buffer): this {
    const { node } = this.#find(path);
    if (offset + bytes.length > node.head.length) throw new Error(`${path} has ${node.head.length} bytes`);
    bytes.copy(node.head, offset);
    return this;
  }

  replaceContent(path: string, bytes: Buffer): this {
    this.#find(path).node.head = bytes;
    return this;
  }

  remove(path: string): this {
    const { node, siblings } = this.#find(path);
    siblings.splice(siblings.indexOf(node), 1);
    return this;
  }

  /** Behind the last child, or at `index`. */
  insert(parent: string, bytes: Buffer, index?: number): this {
    const children = this.#find(parent).node.children;
    if (children === null) throw new Error(`${parent} holds no boxes`);
    children.splice(
      index ?? children.length,
      0,
      ...parse(bytes, -1, parent.split('/').at(-1) as string).nodes,
    );
    return this;
  }

  swap(one: string, other: string): this {
    const [a, b] = [this.#find(one), this.#find(other)];
    const [first, second] = [a.siblings.indexOf(a.node), b.siblings.indexOf(b.node)];
    a.siblings[first] = b.node;
    b.siblings[second] = a.node;
    return this;
  }

  /** Chunk offsets follow where an index in front of the media data has another length than before. */
  bytes(behind: Buffer = Buffer.alloc(0)): Buffer {
    const moved = this.#indexFirst ? this.#sizeOfIndex() - this.#indexBytes : 0;
    if (moved !== 0) this.#shift(this.#nodes, moved);
    return Buffer.concat([...this.#nodes.map(bytesOf), behind]);
  }

  #shift(nodes: readonly Node[], by: number): void {
    for (const { type, head, children } of nodes) {
      if (type === 'stco')
        for (let at = 8; at < head.length; at += 4) head.writeUInt32BE(head.readUInt32BE(at) + by, at);
      this.#shift(children ?? [], by);
    }
  }
}
