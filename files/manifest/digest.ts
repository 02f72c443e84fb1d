/** Several checksums of one stream of bytes at once. */
import { createHash, type Hash } from 'node:crypto';
import { Xxh32, Xxh64, xxh3 } from '@node-rs/xxhash';
import type { Algorithm } from './algorithms.ts';
import { c4FromDigest } from './c4.ts';

export interface Digest {
  update(bytes: Uint8Array): void;
  /** Text form by algorithm; ends the stream. */
  finish(): Partial<Record<Algorithm, string>>;
}

interface Stream {
  update(bytes: Uint8Array): unknown;
  text(): string;
}

const hex = (value: bigint | number, digits: number): string => value.toString(16).padStart(digits, '0');

function streamOf(algorithm: Exclude<Algorithm, 'xxh128'>): Stream {
  const ofNode = (name: string, text: (hash: Hash) => string = (hash) => hash.digest('hex')) => {
    const hash = createHash(name);
    return { update: (bytes: Uint8Array) => hash.update(bytes), text: () => text(hash) };
  };
  switch (algorithm) {
    case 'xxh32': {
      const hash = new Xxh32();
      return { update: (bytes) => hash.update(bytes), text: () => hex(hash.digest(), 8) };
    }
    case 'xxh64': {
      const hash = new Xxh64();
      return { update: (bytes) => hash.update(bytes), text: () => hex(hash.digest(), 16) };
    }
    case 'xxh3': {
      const hash = xxh3.Xxh3.withSeed();
      return { update: (bytes) => hash.update(bytes), text: () => hex(hash.digest(), 16) };
    }
    case 'blake2b':
      return ofNode('blake2b512');
    case 'c4':
      return ofNode('sha512', (hash) => c4FromDigest(hash.digest()));
    default:
      return ofNode(algorithm);
  }
}

async function openStream(algorithm: Algorithm): Promise<Stream> {
  if (algorithm !== 'xxh128') return streamOf(algorithm);
  // Loaded when it is needed: making it ready takes longer than reading most files.
  const { Xxh128 } = await import('./xxh128.ts');
  const hash = new Xxh128();
  return { update: (bytes) => hash.update(bytes), text: () => hash.digest() };
}

export async function createDigest(wanted: Iterable<Algorithm>): Promise<Digest> {
  const hashes = await Promise.all(
    [...new Set(wanted)].map(async (algorithm) => ({ algorithm, ...(await openStream(algorithm)) })),
  );
  return {
    update(bytes) {
      for (const hash of hashes) hash.update(bytes);
    },
    finish: () => Object.fromEntries(hashes.map(({ algorithm, text }) => [algorithm, text()])),
  };
}

function ofWhole(bytes: Uint8Array, algorithm: Algorithm): string {
  if (algorithm === 'xxh128') return hex(xxh3.xxh128(bytes), 32);
  const stream = streamOf(algorithm);
  stream.update(bytes);
  return stream.text();
}

/** Checksums of bytes in memory. */
export function hashBytes(
  bytes: Uint8Array,
  wanted: Iterable<Algorithm>,
): Partial<Record<Algorithm, string>> {
  return Object.fromEntries([...new Set(wanted)].map((algorithm) => [algorithm, ofWhole(bytes, algorithm)]));
}
