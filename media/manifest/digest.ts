/** Several checksums of one stream of bytes at once. */
import { createHash, type Hash } from 'node:crypto';
import { Xxh32, Xxh64, xxh3 } from '@node-rs/xxhash';
import type { Algorithm } from './algorithms.ts';
import { c4FromDigest } from './c4.ts';
import { Xxh128 } from './xxh128.ts';

export interface Digest {
  update(bytes: Uint8Array): void;
  /** Text form by algorithm; ends the stream. */
  finish(): Partial<Record<Algorithm, string>>;
}

/** Kernels whose stream has ended: each holds 320 KiB that are worth using again. */
const idle: Xxh128[] = [];

function one(algorithm: Algorithm): { update(bytes: Uint8Array): unknown; text(): string } {
  const ofNode = (name: string, text: (hash: Hash) => string = (hash) => hash.digest('hex')) => {
    const hash = createHash(name);
    return { update: (bytes: Uint8Array) => hash.update(bytes), text: () => text(hash) };
  };
  switch (algorithm) {
    case 'xxh32': {
      const hash = new Xxh32();
      return { update: (bytes) => hash.update(bytes), text: () => hash.digest().toString(16).padStart(8, '0') };
    }
    case 'xxh64': {
      const hash = new Xxh64();
      return { update: (bytes) => hash.update(bytes), text: () => hash.digest().toString(16).padStart(16, '0') };
    }
    case 'xxh3': {
      const hash = xxh3.Xxh3.withSeed();
      return { update: (bytes) => hash.update(bytes), text: () => hash.digest().toString(16).padStart(16, '0') };
    }
    case 'xxh128': {
      const hash = idle.pop() ?? new Xxh128();
      const text = (): string => {
        const value = hash.digest();
        hash.reset();
        idle.push(hash);
        return value;
      };
      return { update: (bytes) => hash.update(bytes), text };
    }
    case 'blake2b':
      return ofNode('blake2b512');
    case 'c4':
      return ofNode('sha512', (hash) => c4FromDigest(hash.digest()));
    default:
      return ofNode(algorithm);
  }
}

export function createDigest(wanted: Iterable<Algorithm>): Digest {
  const hashes = [...new Set(wanted)].map((algorithm) => ({ algorithm, ...one(algorithm) }));
  return {
    update(bytes) {
      for (const hash of hashes) hash.update(bytes);
    },
    finish: () => Object.fromEntries(hashes.map(({ algorithm, text }) => [algorithm, text()])),
  };
}

/** Checksums of bytes in memory. */
export function hashBytes(bytes: Uint8Array, wanted: Iterable<Algorithm>): Partial<Record<Algorithm, string>> {
  const digest = createDigest(wanted);
  digest.update(bytes);
  return digest.finish();
}
