/** Messages of H.265 about the display that pictures were made on, and how much light is in them (ITU-T H.265, annex D). */
import type { Outcome } from '../../profiles/outcome.ts';
import type { Message } from './h265.ts';

/** What a stream must say before each picture that begins afresh, in the order of `found`. */
export function expectedMessages(_outcome: Outcome, _found: readonly Message[]): readonly Message[] {
  return [];
}

export const messagesText = (messages: readonly Message[]): string =>
  messages.map(({ type, payload }) => `${type} ${payload}`).join(', ') || 'none';
