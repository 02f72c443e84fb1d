/** The part of the page that says what is held, and what to do about it. Pure. */
import { blocks, type Finding } from '../../findings/finding.ts';
import { findingsMarkup } from './findings.ts';
import { type Markup, markup, name } from './markup.ts';
import type { Morning } from './morning.ts';

interface HeldRoll {
  readonly roll: string;
  readonly findings: readonly Finding[];
  /** Why nothing blocks it and it is not ready all the same; null: findings say why. */
  readonly without: string | null;
}

type HeldParts = Pick<Morning, 'day' | 'state' | 'unrecorded' | 'findings'>;

function heldRolls({ day, state, unrecorded }: HeldParts): HeldRoll[] {
  const held = day.rolls
    .filter(({ verdict }) => verdict === 'held')
    .map(({ roll, findings }) => ({ roll, findings: findings.filter(blocks) }));
  const absent = unrecorded.map(({ roll, findings }) => ({ roll, findings: findings.filter(blocks) }));
  return [...held, ...absent]
    .map((one) => ({
      ...one,
      without:
        one.findings.length > 0
          ? null
          : state.kind === 'running'
            ? 'It is not decided yet.'
            : 'The run did not come to this roll: nothing is known of it. Start the same command again.',
    }))
    .sort((a, b) => (a.roll < b.roll ? -1 : 1));
}

/** null: nothing is held. */
export function heldSection(morning: HeldParts): Markup | null {
  const rolls = heldRolls(morning);
  const ofNight = morning.findings.filter(blocks);
  if (rolls.length === 0 && ofNight.length === 0) return null;
  const { day } = morning.day;
  return markup`<section aria-labelledby="held">
<h2 id="held" tabindex="-1">What is held, and what to do</h2>
${
  ofNight.length === 0
    ? null
    : markup`<h3>The run as a whole</h3>${findingsMarkup(ofNight, { day, level: 4 })}`
}
${rolls.map(
  ({ roll, findings, without }) =>
    markup`<h3>${name(roll)}${morning.state.kind === 'running' && without !== null ? null : ' is held'}</h3>
${without === null ? findingsMarkup(findings, { day, level: 4 }) : markup`<p>${without}</p>`}`,
)}
</section>`;
}
