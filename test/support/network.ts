/** Network namespaces on a bridge of their own, for machines with an address each that can be cut off. Needs root. */
import { execFileSync } from 'node:child_process';
import type { TestContext } from 'vitest';

export interface Network {
  /** Of the namespace. */
  readonly name: string;
  /** Address of this side. */
  readonly here: string;
  cut(): void;
  mend(): void;
}

const ip = (...words: string[]): void => void execFileSync('ip', words);

/** One namespace for each name, all on one bridge, taken down with the test. Names of at most 10 letters and digits. */
export function networksOf(context: TestContext, names: readonly string[]): Network[] {
  const bridge = `${names[0]}b`;
  const here = '10.213.7.1';
  ip('link', 'add', bridge, 'type', 'bridge');
  context.onTestFinished(() => ip('link', 'del', bridge));
  ip('addr', 'add', `${here}/24`, 'dev', bridge);
  ip('link', 'set', bridge, 'up');
  return names.map((name, index) => {
    const [outside, inside] = [`${name}o`, `${name}i`];
    ip('netns', 'add', name);
    context.onTestFinished(() => {
      ip('link', 'del', outside);
      ip('netns', 'del', name);
    });
    ip('link', 'add', outside, 'type', 'veth', 'peer', 'name', inside);
    ip('link', 'set', outside, 'master', bridge, 'up');
    ip('link', 'set', inside, 'netns', name);
    for (const words of [
      ['addr', 'add', `10.213.7.${2 + index}/24`, 'dev', inside],
      ['link', 'set', inside, 'up'],
      ['link', 'set', 'lo', 'up'],
    ])
      ip('-n', name, ...words);
    return {
      name,
      here,
      cut: () => ip('link', 'set', outside, 'down'),
      mend: () => ip('link', 'set', outside, 'up'),
    };
  });
}
