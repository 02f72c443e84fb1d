/** What came of a run, for people. Pure. */
import { blocks } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import type { NightResult, RollResult } from '../night/request.ts';
import { clipsReadyText, count, durationText, findingsText, readyText } from './words.ts';

function rollText(roll: RollResult): string {
  const head = `${roll.verdict === 'ready' ? readyText(roll.copies) : 'HELD '}  ${printable(roll.roll)}  ${clipsReadyText(roll)}${roll.recordings > 0 ? '' : `, ${roll.made} made, ${roll.kept} already done`}`;
  const lines = [head];
  if (roll.record !== null) lines.push(`       ${printable(roll.record)}`);
  if (roll.findings.length > 0) lines.push(findingsText(roll.findings, '       '));
  return lines.join('\n');
}

export function nightText(result: NightResult): string {
  const ready = result.rolls.filter((roll) => roll.verdict === 'ready').length;
  const parts = result.rolls.map(rollText);
  const ofNight = result.findings.filter(
    (item) =>
      !result.rolls.some((roll) =>
        roll.findings.some((other) => other.code === item.code && other.found === item.found),
      ),
  );
  if (result.pull !== null) parts.push(`${result.pull.text}\n       ${printable(result.pull.record)}`);
  if (ofNight.length > 0) parts.push(findingsText(ofNight));
  const held = result.findings.some(blocks) || ready < result.rolls.length;
  parts.push(
    `${ready} of ${count(result.rolls.length, 'roll')} ready after ${durationText(result.seconds)}.${held ? ` Log: ${printable(result.logFolder)}` : ''}${result.page === null ? '' : `\nTo open in the morning: ${printable(result.page)}`}${result.handover === null ? '' : `\nBins, lists and the log of the ready rolls: ${printable(result.handover)}`}`,
  );
  return `${parts.join('\n\n')}\n`;
}
