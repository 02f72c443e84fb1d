/** One receiver, as messages are sent to it. */
import { createHash } from 'node:crypto';
import type { NamedMessage } from './message.ts';
import type { MessageType } from './schema.ts';

export interface Sender {
  /** The same at every start; tells nothing of the address. */
  readonly key: string;
  /** For people and logs: without what may be secret of the address. */
  readonly name: string;
  wants(type: MessageType): boolean;
  /** Throws when it is not taken, and RefusedForGoodError when it never will be. */
  send(message: NamedMessage, signal: AbortSignal): Promise<void>;
}

export const keyOf = (...parts: readonly string[]): string =>
  createHash('sha256').update(JSON.stringify(parts)).digest('hex').slice(0, 16);

export class RefusedForGoodError extends Error {
  constructor(why: string) {
    super(why);
    this.name = 'RefusedForGoodError';
  }
}
