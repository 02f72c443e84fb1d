import { expect, test } from 'vitest';
import { uuid5 } from '../../files/uuid.ts';

// RFC 9562, appendix A.4: the example of version 5.
test('a UUID of version 5 is that of the standard', () => {
  expect(uuid5('6ba7b810-9dad-11d1-80b4-00c04fd430c8', 'www.example.com')).toBe(
    '2ed6657d-e927-568b-95e1-2665a8aea6a2',
  );
});

test('another name has another one, and what is no UUID is no namespace', () => {
  const namespace = '6ba7b811-9dad-11d1-80b4-00c04fd430c8';
  expect(uuid5(namespace, 'a')).not.toBe(uuid5(namespace, 'b'));
  expect(() => uuid5('6ba7b811', 'a')).toThrow(RangeError);
});
