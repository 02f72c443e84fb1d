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

function heldRolls({ day, unrecorded }: Pick<Morning, 'day' | 'unrecorded'>): HeldRoll[] {
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
          : 'The run did not come to this roll: nothing is known of it. Start the same command once more.',
    }))
    .sort((a, b) => (a.roll < b.roll ? -1 : 1));
}

/** null: nothing is held. */
export function heldSection(morning: Pick<Morning, 'day' | 'unrecorded' | 'findings'>): Markup | null {
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
    markup`<h3>${name(roll)} is held</h3>
${without === null ? findingsMarkup(findings, { day, level: 4 }) : markup`<p>${without}</p>`}`,
)}
</section>`;
}
