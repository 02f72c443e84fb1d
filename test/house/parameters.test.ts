/** No function of the product takes more than four parameters: more of them are a record whose fields have names. */
import { type Node, type SourceFile, SyntaxKind } from 'typescript/unstable/ast';
import {
  isArrowFunction,
  isConstructorDeclaration,
  isFunctionDeclaration,
  isFunctionExpression,
  isFunctionTypeNode,
  isMethodDeclaration,
  isMethodSignatureDeclaration,
  isParameterDeclaration,
  isPropertyDeclaration,
  isPropertySignatureDeclaration,
  isVariableDeclaration,
} from 'typescript/unstable/ast/is';
import { expect, test } from 'vitest';
import { importsOf, rooms, sourcesOf } from './sources.ts';
import { visitSources } from './trees.ts';

const MOST = 4;

interface Found {
  readonly place: string;
  /** Of a function without a body: all that it takes are numbers. */
  readonly numbersAlone: boolean;
}

function nameOf(node: Node, source: SourceFile): string {
  if (
    (isFunctionDeclaration(node) ||
      isMethodDeclaration(node) ||
      isMethodSignatureDeclaration(node) ||
      isFunctionExpression(node)) &&
    node.name !== undefined
  )
    return node.name.getText(source);
  if (isConstructorDeclaration(node)) return 'constructor';
  const { parent } = node;
  return isVariableDeclaration(parent) ||
    isPropertyDeclaration(parent) ||
    isPropertySignatureDeclaration(parent) ||
    isParameterDeclaration(parent)
    ? parent.name.getText(source)
    : 'without a name';
}

/** Functions, methods, constructors, and the types of functions that fields and parameters have. */
function longIn(files: readonly string[]): Found[] {
  const found: Found[] = [];
  visitSources(files, (node, source, file) => {
    const isType = isFunctionTypeNode(node) || isMethodSignatureDeclaration(node);
    if (
      !isType &&
      !isFunctionDeclaration(node) &&
      !isFunctionExpression(node) &&
      !isArrowFunction(node) &&
      !isMethodDeclaration(node) &&
      !isConstructorDeclaration(node)
    )
      return;
    if (node.parameters.length <= MOST) return;
    const numbersAlone =
      isType && node.parameters.every(({ type }) => type?.kind === SyntaxKind.NumberKeyword);
    found.push({ place: `${file} ${nameOf(node, source)}`, numbersAlone });
  });
  return found;
}

const ours = rooms.flatMap((room) => sourcesOf(room));
/** What WebAssembly exports takes numbers and nothing else: there is no record that could be handed over. */
const kernelFiles = new Set(
  ours
    .filter(({ text }) => importsOf(text).some((name) => name.endsWith('kernels/memory.ts')))
    .map(({ file }) => file),
);

const thisFile = 'test/house/parameters.test.ts';
const long = longIn([...ours.map(({ file }) => file), thisFile]);

test('more than four parameters are a record with named fields', () => {
  const places = long
    .filter(({ place, numbersAlone }) => !(numbersAlone && kernelFiles.has(place.split(' ')[0] as string)))
    .map(({ place }) => place)
    .filter((place) => !place.startsWith(thisFile));
  expect(places.sort()).toEqual([]);
});

test('functions of every form are found, however they are written', () => {
  const declared = function withName(a: number, b: number, c: number, d: number, e: string): string {
    return `${a}${b}${c}${d}${e}`;
  };
  interface Fields {
    readonly field: (a: number, b: number, c: number, d: number, e: number) => string;
    method(a: number, b: number, c: number, d: number, e: number): string;
  }
  class Several implements Fields {
    readonly field = (a: number, b: number, c: number, d: number, e: number): string =>
      this.method(a, b, c, d, e);
    readonly #numbers: readonly number[];
    constructor(a: number, b: number, c: number, d: number, e: number) {
      this.#numbers = [a, b, c, d, e];
    }
    method(a: number, b: number, c: number, d: number, e: number): string {
      return `${declared(a, b, c, d, '')}${e}${this.#numbers.length}`;
    }
  }
  expect(new Several(1, 2, 3, 4, 5).field(1, 2, 3, 4, 5)).toBe('123455');
  expect(long.filter(({ place }) => place.startsWith(thisFile))).toEqual(
    [
      ['withName', false],
      ['field', true],
      ['method', true],
      ['field', false],
      ['constructor', false],
      ['method', false],
    ].map(([name, numbersAlone]) => ({ place: `${thisFile} ${name}`, numbersAlone })),
  );
});
