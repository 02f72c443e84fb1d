/** What the settings say of recordings in several files, for a roll. Names alone are known when it is asked: no file is measured yet. Pure. */
import { type SpannedRule, type SpannedRules, usualRules } from '../survey/spanned.ts';
import { type Level, levelsOf, nearest } from './levels.ts';
import type { SettingsFile } from './schema.ts';

function ruleOf(levels: readonly Level[]): SpannedRule {
  const { ofRoll: usual } = usualRules;
  return {
    names: nearest(levels, (part) => part.spanned?.names)?.value ?? usual.names,
    continuesBy: nearest(levels, (part) => part.spanned?.continue_by)?.value ?? usual.continuesBy,
  };
}

export function spannedRules(settings: SettingsFile, roll: string): SpannedRules {
  const rolls = settings.rolls ?? {};
  const clips = Object.hasOwn(rolls, roll) ? (rolls[roll]?.clips ?? {}) : {};
  return {
    ofRoll: ruleOf(levelsOf(settings, roll, null, null).levels),
    ofClip: (name) => ruleOf(levelsOf(settings, roll, { id: name, name }, null).levels),
    named: Object.values(clips).flatMap(({ spanned }) =>
      spanned?.parts === undefined ? [] : [spanned.parts],
    ),
  };
}
