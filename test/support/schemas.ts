/** Records against docs/schemas/ by a validator that is not ours (ajv, JSON Schema draft 2020-12). */
import { readFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { Ajv2020, type ErrorObject, type ValidateFunction } from 'ajv/dist/2020.js';
import { packageFolder } from '../../files/installation.ts';
import { filesBelow } from './delivery.ts';

const ajv = new Ajv2020({ strict: false, allErrors: true });

const validators = new Map<string, ValidateFunction>();

/** Compiled once: that takes longer than to hold a whole delivery against the schema. */
function validatorOf(name: string): ValidateFunction {
  const known = validators.get(name);
  if (known !== undefined) return known;
  const schema = JSON.parse(
    readFileSync(join(packageFolder, 'docs', 'schemas', `${name}.schema.json`), 'utf8'),
  ) as { $id?: string };
  const compiled = ajv.compile(schema);
  validators.set(name, compiled);
  return compiled;
}

/** What is wrong with a value by the schema of that name; [] when it fits. */
export function faultsIn(name: string, value: unknown): readonly ErrorObject[] {
  const validate = validatorOf(name);
  return validate(JSON.parse(JSON.stringify(value))) ? [] : (validate.errors ?? []);
}

/** Name of the schema of a record by its place in a delivery; null for what is no record. */
function schemaOf(file: string): string | null {
  if (basename(file) === 'roll.json') return 'roll';
  if (basename(dirname(file)) === 'handover')
    return basename(file) === 'statement.json'
      ? 'handover-predicate'
      : basename(file) === 'pages.json'
        ? 'pages-predicate'
        : null;
  if (basename(file) === 'statement.json') return 'statement-predicate';
  if (!file.endsWith('.json')) return null;
  if (basename(dirname(file)) === 'deliverables') return 'deliverable-report';
  if (basename(dirname(file)) === 'stills') return 'stills-report';
  return basename(dirname(file)) === 'reports' ? 'clip-report' : null;
}

/** Every record in a delivery, by kind, with the faults that its schema finds in it. */
export function recordsIn(delivery: string): { readonly kinds: string[]; readonly faults: string[] } {
  const kinds = new Set<string>();
  const faults: string[] = [];
  for (const file of filesBelow(delivery)) {
    const schema = schemaOf(file);
    if (schema === null) continue;
    kinds.add(schema);
    const record = JSON.parse(readFileSync(join(delivery, file), 'utf8')) as { predicate?: unknown };
    for (const { instancePath, message } of faultsIn(
      schema,
      schema.endsWith('-predicate') ? record.predicate : record,
    ))
      faults.push(`${file}: ${instancePath} ${message}`);
  }
  return { kinds: [...kinds].sort(), faults };
}
