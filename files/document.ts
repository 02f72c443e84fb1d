/** A YAML file that a person wrote (a profile, a declared decoder): its values, and the line of each field. */
import { codeOf } from './error-code.ts';
import { readFile, stat } from 'node:fs/promises';
import { basename } from 'node:path';
import { LineCounter, isMap, isNode, isPair, isScalar, type Document, parseDocument } from 'yaml';
import { type Finding, finding } from '../findings/finding.ts';

type Code = Parameters<typeof finding>[0];
export type Path = readonly (string | number)[];

export interface WrittenDocument {
  /** For people: a path, or `built in: <name>`. */
  readonly origin: string;
  /** The file's own name without `.yaml`. */
  readonly stem: string;
  readonly values: Readonly<Record<string, unknown>>;
  /** Line of the field, counted from 1; of the nearest group above it when the field is not there. */
  readonly lineOf: (path: Path) => number;
}

/** A page of text; what is larger is something else. */
const LARGEST = 64 * 1024;

/** Codes of such a file: it is not there; it does not read. `form`: what it should be, in words. */
export interface DocumentCodes {
  readonly missing: Code;
  readonly unreadable: Code;
  readonly form: string;
}

/** A finding at a place in such a file. File, line and field are fields of their own for programs, and stand in `found` for people. */
export function findingAt(
  code: Code,
  place: { origin: string; line: number; field: string },
  found: string,
  expected: string,
): Finding {
  const where = place.field === '' ? `line ${place.line}` : `line ${place.line}, ${place.field}`;
  return {
    ...finding(code, `${where}: ${found}`, expected, { file: place.origin }),
    line: place.line,
    field: place.field,
  };
}

function lineFinder(document: Document, counter: LineCounter): WrittenDocument['lineOf'] {
  const lineAt = (offset: number | undefined): number =>
    offset === undefined ? 1 : counter.linePos(offset).line;
  return (path) => {
    let node: unknown = document.contents;
    let line = isNode(node) ? lineAt(node.range?.[0]) : 1;
    for (const [depth, part] of path.entries()) {
      if (isMap(node)) {
        const pair: unknown = node.items.find(
          (item) => isPair(item) && isScalar(item.key) && item.key.value === part,
        );
        if (!isPair(pair)) return line;
        if (isNode(pair.key)) line = lineAt(pair.key.range?.[0]);
        node = pair.value;
      } else {
        const child: unknown = document.getIn(path.slice(0, depth + 1), true);
        if (!isNode(child)) return line;
        line = lineAt(child.range?.[0]);
        node = child;
      }
    }
    return line;
  };
}

/** Groups in groups: the deepest that any of these files needs is six. */
const DEEPEST = 32;

/** Brackets that may be open at once, those in texts and remarks counted too. */
const MOST_OPEN = 200;
/** Marks of a list or a key at the head of one line. */
const MOST_MARKS = 32;

/**
 * Seen before the parser is asked, which calls itself for every group in a group: at the end of its stack an engine may end the
 * whole process instead of throwing. Groups by indentation need no look: a page has no room for so many.
 */
function looksTooDeep(text: string): boolean {
  let open = 0;
  for (const [bracket] of text.matchAll(/[[{}\]]/g)) {
    open = bracket === '[' || bracket === '{' ? open + 1 : Math.max(0, open - 1);
    if (open > MOST_OPEN) return true;
  }
  return new RegExp(`^[ \\t]*(?:[-?:][ \\t]+){${MOST_MARKS}}`, 'm').test(text);
}

/** What is deeper than any page of fields would exhaust the stack of whatever walks through it. */
function isTooDeep(values: unknown): boolean {
  let level: readonly unknown[] = [values];
  for (let depth = 0; level.length > 0; depth += 1) {
    if (depth > DEEPEST) return true;
    level = level.flatMap((value) =>
      typeof value === 'object' && value !== null ? (Object.values(value) as unknown[]) : [],
    );
  }
  return false;
}

function parseDocumentText(
  text: string,
  origin: string,
  stem: string,
  codes: DocumentCodes,
): { document: WrittenDocument } | { findings: Finding[] } {
  const counter = new LineCounter();
  const refused = (found: string): { findings: Finding[] } => ({
    findings: [findingAt(codes.unreadable, { origin, line: 1, field: '' }, found, 'a page of plain fields')],
  });
  if (looksTooDeep(text)) return refused(`groups in groups, more than ${DEEPEST} deep`);
  const document = parseDocument(text, {
    lineCounter: counter,
    version: '1.2',
    uniqueKeys: true,
    prettyErrors: false,
  });
  const faults = [...document.errors, ...document.warnings];
  if (faults.length > 0) {
    return {
      findings: faults.map((fault) =>
        findingAt(
          codes.unreadable,
          { origin, line: counter.linePos(fault.pos[0]).line, field: '' },
          fault.message,
          'YAML 1.2, one document, every field once',
        ),
      ),
    };
  }
  let values: unknown;
  try {
    values = document.toJS({ maxAliasCount: 20 });
  } catch (error) {
    return refused((error as Error).message);
  }
  if (isTooDeep(values)) return refused(`groups in groups, more than ${DEEPEST} deep`);
  if (values === null || typeof values !== 'object' || Array.isArray(values)) {
    return {
      findings: [
        findingAt(
          codes.unreadable,
          { origin, line: 1, field: '' },
          values === null ? 'nothing' : `a ${Array.isArray(values) ? 'list' : typeof values}`,
          'fields: `version: 1`, `name: …`',
        ),
      ],
    };
  }
  return {
    document: {
      origin,
      stem,
      values: values as Record<string, unknown>,
      lineOf: lineFinder(document, counter),
    },
  };
}

export async function readDocument(
  path: string,
  codes: DocumentCodes,
  origin = path,
): Promise<{ document: WrittenDocument } | { findings: Finding[] }> {
  let text: string;
  try {
    const { size } = await stat(path);
    if (size > LARGEST)
      return {
        findings: [finding(codes.unreadable, `${size} bytes`, `at most ${LARGEST} bytes`, { file: origin })],
      };
    text = new TextDecoder('utf-8', { fatal: true }).decode(await readFile(path));
  } catch (error) {
    const code = codeOf(error);
    if (code === 'ENOENT' || code === 'ENOTDIR')
      return { findings: [finding(codes.missing, `no file ${path}`, codes.form, { file: origin })] };
    return {
      findings: [
        finding(codes.unreadable, (error as Error).message, 'a text file in UTF-8', { file: origin }),
      ],
    };
  }
  return parseDocumentText(text, origin, basename(path).replace(/\.ya?ml$/i, ''), codes);
}
