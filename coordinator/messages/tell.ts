/** What of a night is told: each thing once. The same words for a run and for a standing coordinator. */
import { blocks, type Finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import type { NightResult, RollResult } from '../night/request.ts';
import { count, readyText } from '../show/words.ts';
import { type MessageOf, newMessage } from './message.ts';
import type { Outbox } from './outbox.ts';

export interface OfNight {
  readonly day: string;
  readonly delivery: string;
  readonly show: string | null;
}

export interface Teller {
  decided(of: OfNight, result: RollResult): void;
  ended(of: OfNight, result: Pick<NightResult, 'verdict' | 'rolls' | 'findings' | 'interrupted'>): void;
  refused(of: OfNight, findings: readonly Finding[]): void;
  late(of: OfNight, roll: string, why: string): void;
  noted(of: OfNight, item: Finding): void;
}

export function newTeller(outbox: Pick<Outbox, 'tell'>): Teller {
  const told = new Set<string>();
  const tell = (message: MessageOf): void => {
    // What a coordinator tries again and again, with the same end, is told once.
    const codes = message.findings.map(({ code, roll, file }) => [code, roll, file]);
    const { type, day, delivery, roll } = message;
    const key = JSON.stringify([
      type,
      day,
      delivery,
      roll,
      type.startsWith('day.') ? message.text : '',
      codes,
    ]);
    if (told.has(key)) return;
    told.add(key);
    outbox.tell(newMessage(message));
  };
  const named = ({ day }: OfNight, roll: string | null): string =>
    roll === null ? printable(day) : `${printable(day)} ${printable(roll)}`;
  return {
    decided(of, { roll, verdict, copies, findings }) {
      const held = findings.filter(blocks);
      const text = verdict === 'ready' ? readyText(copies) : `held, ${count(held.length, 'finding')}`;
      tell({ ...of, type: `roll.${verdict}`, roll, text: `${named(of, roll)}: ${text}`, findings: held });
    },
    ended(of, { verdict, rolls, findings, interrupted }) {
      // Who stopped it knows.
      if (interrupted) return;
      const ready = rolls.filter((one) => one.verdict === 'ready').length;
      const text = `${named(of, null)}: ${ready} of ${count(rolls.length, 'roll')} ready`;
      tell({ ...of, type: `day.${verdict}`, roll: null, text, findings: findings.filter(blocks) });
    },
    refused(of, findings) {
      const text = `${named(of, null)}: the night could not begin`;
      tell({ ...of, type: 'day.held', roll: null, text, findings });
    },
    late(of, roll, why) {
      tell({ ...of, type: 'roll.late', roll, text: `${named(of, roll)}: late, ${why}`, findings: [] });
    },
    noted(of, item) {
      if (item.code !== 'machine-lost') return;
      const text = `${named(of, null)}: machine lost, ${printable(item.found)}`;
      tell({ ...of, type: 'machine.lost', roll: null, text, findings: [item] });
    },
  };
}
