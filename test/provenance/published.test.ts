/**
 * Statement, envelope and signatures against what their specifications publish: the in-toto Attestation Framework
 * (in-toto/attestation, spec/v1 and spec/predicates), DSSE (secure-systems-lab/dsse, protocol.md and
 * testvectors/vectors.json) and Ed25519 (RFC 8032, 7.1).
 */
import { createPrivateKey, createPublicKey, type KeyObject, sign, verify } from 'node:crypto';
import { describe, expect, test } from 'vitest';
import { bytesOfBase64, envelopeBytes, envelopeSchema, pae } from '../../ledger/provenance/envelope.ts';
import { signPayload, verifiesPayload } from '../../ledger/provenance/keys.ts';
import { PREDICATE_TYPE } from '../../ledger/provenance/predicate.ts';
import {
  resourceDescriptorSchema,
  STATEMENT_MEDIA_TYPE,
  statementSchema,
} from '../../ledger/provenance/statement.ts';

describe('in-toto Statement v1', () => {
  test('the example of the test-result predicate is read, also without name', () => {
    // spec/predicates/test-result.md, "Example", its lists cut short.
    const example = {
      _type: 'https://in-toto.io/Statement/v1',
      subject: [{ digest: { gitCommit: 'd20ace7968ba43c0219f62d71334c1095bab1602' } }],
      predicateType: 'https://in-toto.io/attestation/test-result/v0.1',
      predicate: {
        result: 'PASSED',
        configuration: [{ name: 'ci.yml', digest: { gitBlob: 'ebe4add40f63c3c98bc9b32ff1e736f04120b023' } }],
        warnedTests: [],
        failedTests: [],
      },
    };
    expect(statementSchema.parse(example)).toEqual(example);
  });

  test('the example of a released image is read', () => {
    // spec/predicates/release.md, third example.
    const example = {
      _type: 'https://in-toto.io/Statement/v1',
      subject: [{ name: 'registry.example.com/my-project/my-image', digest: { sha256: 'fedcba09...' } }],
      predicateType: 'https://in-toto.io/attestation/release/v0.1',
      predicate: {
        purl: 'pkg:oci/my-image@sha256%3Afedcba09?repository_url=registry.example.com/my-project/my-image&tag=v1.2.3',
      },
    };
    expect(statementSchema.parse(example)).toEqual(example);
  });

  const subject = [{ name: 'bell.mov', digest: { sha256: 'ab' } }];
  const whole = {
    _type: 'https://in-toto.io/Statement/v1',
    subject,
    predicateType: PREDICATE_TYPE,
    predicate: {},
  };

  // spec/v1/statement.md, "Fields"; spec/v1/README.md, "Parsing rules".
  test.each<[string, boolean, unknown]>([
    ['whole', true, whole],
    ['without predicate, which is the same as empty', true, { ...whole, predicate: undefined }],
    ['with a field that nobody knows', true, { ...whole, extra: 1 }],
    ['of version 0.1', false, { ...whole, _type: 'https://in-toto.io/Statement/v0.1' }],
    ['without subject', false, { ...whole, subject: undefined }],
    [
      'with a subject without digest',
      false,
      { ...whole, subject: [{ name: 'bell.mov', uri: 'file:bell.mov' }] },
    ],
    ['with a subject of no digest', false, { ...whole, subject: [{ name: 'bell.mov', digest: {} }] }],
    ['without predicate type', false, { ...whole, predicateType: undefined }],
    ['with a predicate type that is no URI', false, { ...whole, predicateType: 'handover' }],
    [
      'with a predicate type whose scheme has large letters',
      false,
      { ...whole, predicateType: 'HTTPS://in-toto.io/x' },
    ],
    ['with a predicate that is no object', false, { ...whole, predicate: [] }],
  ])('a statement %s', (_, right, value) => {
    expect(statementSchema.safeParse(value).success).toBe(right);
  });

  // spec/v1/resource_descriptor.md, "Examples" and "Fields"; the URI of field_types.md.
  test.each<[string, boolean, unknown]>([
    [
      'that points at another attestation',
      true,
      {
        name: 'gcc_9.3.0-1ubuntu2_amd64.intoto.json',
        digest: { sha256: 'abcdabcde...' },
        downloadLocation: 'http://example.com/rebuilderd-instance/gcc_9.3.0-1ubuntu2_amd64.intoto.json',
        mediaType: 'application/x.dsse+json',
      },
    ],
    ['of a URI alone', true, { uri: 'pkg:deb/debian/stunnel@5.50-3?arch=amd64' }],
    ['of a name alone', false, { name: 'Foo.apk' }],
  ])('a resource descriptor %s', (_, right, value) => {
    expect(resourceDescriptorSchema.safeParse(value).success).toBe(right);
  });
});

describe('DSSE v1', () => {
  test('the pre-authentication encoding of the example', () => {
    expect(pae('http://example.com/HelloWorld', Buffer.from('hello world')).toString()).toBe(
      'DSSEv1 29 http://example.com/HelloWorld 11 hello world',
    );
  });

  test('the signature of the example verifies over our encoding: ECDSA, P-256, SHA-256, r and s raw', () => {
    const coordinate = (decimal: string): string =>
      Buffer.from(BigInt(decimal).toString(16).padStart(64, '0'), 'hex').toString('base64url');
    const key = createPublicKey({
      format: 'jwk',
      key: {
        kty: 'EC',
        crv: 'P-256',
        x: coordinate('46950820868899156662930047687818585632848591499744589407958293238635476079160'),
        y: coordinate('5640078356564379163099075877009565129882514886557779369047442380624545832820'),
      },
    });
    const envelope = envelopeSchema.parse({
      payload: 'aGVsbG8gd29ybGQ=',
      payloadType: 'http://example.com/HelloWorld',
      signatures: [
        { sig: 'A3JqsQGtVsJ2O2xqrI5IcnXip5GToJ3F+FnZ+O88SjtR6rDAajabZKciJTfUiHqJPcIAriEGAHTVeCUjW2JIZA==' },
      ],
    });
    const sig = envelope.signatures[0]?.sig as Buffer;
    expect(
      verify('sha256', pae(envelope.payloadType, envelope.payload), { key, dsaEncoding: 'ieee-p1363' }, sig),
    ).toBe(true);
    expect(
      verify(
        'sha256',
        pae(envelope.payloadType, Buffer.from('hello World')),
        { key, dsaEncoding: 'ieee-p1363' },
        sig,
      ),
    ).toBe(false);
  });

  const whole = 'eyJfdHlwZSI6Imh0dHBzOi8vaW4tdG90by5pby9TdGF0ZW1lbnQvdjEifQ==';
  const ofWhole = '2WAfaHm5jluo0w+0rk8uVkluELJYWjSmU9x7EUzx+AyteDGJ4/nqyJXfmAUVFIAoQafWm7AxBZNw5M9ixNHiCA==';
  // testvectors/vectors.json; the keys are those of RFC 8032, TEST 1 (A) and TEST 2 (B).
  test.each<
    [
      id: string,
      payload: string,
      payloadType: string,
      key: 'A' | 'B',
      sig: string,
      encoded: string,
      right: boolean,
    ]
  >([
    [
      'single-signature',
      whole,
      'application/vnd.in-toto+json',
      'A',
      ofWhole,
      '445353457631203238206170706c69636174696f6e2f766e642e696e2d746f746f2b6a736f6e203433207b225f74797065223a2268747470733a2f2f696e2d746f746f2e696f2f53746174656d656e742f7631227d',
      true,
    ],
    [
      'url-safe-base64',
      '-_-_Pj8=',
      'application/vnd.in-toto+json',
      'A',
      'P-_KHICeR7tI6S_YyejJTRtrXhcQyQ2LYPaL8h90KjC9qN8HU_svOQ6TuDOT1HIrsGW886DbWNWcCmX5twLrAw==',
      '445353457631203238206170706c69636174696f6e2f766e642e696e2d746f746f2b6a736f6e203520fbffbf3e3f',
      true,
    ],
    ['payload-type-swapped', whole, 'application/vnd.example.other+json', 'A', ofWhole, '', false],
    [
      'non-ascii-payload-type',
      whole,
      'application/vnd.exämple+json',
      'A',
      'xmSk/ug66ysT7ayhkCIjhAq42zgZXSsEWuzUaNL7w2eGAdF/NU6/fRXPtmfN+5DNSAs5/i2lUnHjbbjPsu0tAw==',
      '445353457631203239206170706c69636174696f6e2f766e642e6578c3a46d706c652b6a736f6e203433207b225f74797065223a2268747470733a2f2f696e2d746f746f2e696f2f53746174656d656e742f7631227d',
      true,
    ],
    [
      'empty-payload',
      '',
      'application/vnd.in-toto+json',
      'A',
      'gSggCAaTLTYyRH6FIDBem6meyIynsYy8RTHVzwx9tnTb7Bg/1jMWnuVgI/gffqmbsC2VX5/jHfkkDqsj7CDbDg==',
      '445353457631203238206170706c69636174696f6e2f766e642e696e2d746f746f2b6a736f6e203020',
      true,
    ],
    [
      'threshold-two-distinct-keys, the second',
      whole,
      'application/vnd.in-toto+json',
      'B',
      'c1+67/aT0yqEpwx8PsVY3MLHsj9D0CZ014/Fv/QlG59P+9CobUZ7xECJ/V3USG0Ob9CiE5LjReEZUzNF2l7eBw==',
      '',
      true,
    ],
    [
      "the second key's signature, tried with the first",
      whole,
      'application/vnd.in-toto+json',
      'A',
      'c1+67/aT0yqEpwx8PsVY3MLHsj9D0CZ014/Fv/QlG59P+9CobUZ7xECJ/V3USG0Ob9CiE5LjReEZUzNF2l7eBw==',
      '',
      false,
    ],
  ])('vector %s', (_id, payload, payloadType, name, sig, encoded, right) => {
    const envelope = envelopeSchema.parse({ payload, payloadType, signatures: [{ sig }] });
    const [{ sig: bytes } = { sig: Buffer.alloc(0) }] = envelope.signatures;
    if (encoded !== '') expect(pae(envelope.payloadType, envelope.payload).toString('hex')).toBe(encoded);
    expect(
      verifiesPayload(
        envelope.payloadType,
        envelope.payload,
        bytes,
        publicOf(name === 'A' ? rfc8032[0].public : rfc8032[1].public),
      ),
    ).toBe(right);
    // Ed25519 is deterministic: who has the key gets the same signature.
    if (right)
      expect(
        signPayload(
          envelope.payloadType,
          envelope.payload,
          privateOf(name === 'A' ? rfc8032[0].seed : rfc8032[1].seed),
        ),
      ).toEqual(bytes);
  });

  test('what we write is read back, in the standard alphabet', () => {
    const payload = Buffer.from([0xfb, 0xff, 0xbf, 0x3e, 0x3f]);
    const text = envelopeBytes(STATEMENT_MEDIA_TYPE, payload, [
      { keyid: 'ab', sig: Buffer.from([0xff]) },
    ]).toString();
    expect(JSON.parse(text)).toEqual({
      payload: '+/+/Pj8=',
      payloadType: 'application/vnd.in-toto+json',
      signatures: [{ keyid: 'ab', sig: '/w==' }],
    });
    expect(envelopeSchema.parse(JSON.parse(text)).payload).toEqual(payload);
  });

  // RFC 4648: section 4 (standard), 5 (URL-safe), 3.5 (bits that are left over are zero).
  test.each([
    ['+/+/Pj8=', 'fbffbf3e3f'],
    ['-_-_Pj8=', 'fbffbf3e3f'],
    ['', ''],
    ['+_+/Pj8=', null],
    ['+/+/Pj8', null],
    ['+/+/Pj9=', null],
    ['+/+/ Pj8', null],
    ['=+/+', null],
  ])('base64 %j is %j', (text, expected) => {
    expect(bytesOfBase64(text)?.toString('hex') ?? null).toBe(expected);
  });

  test.each([
    ['no signature', { payload: '', payloadType: 'x', signatures: [] }],
    ['no payload type', { payload: '', signatures: [{ sig: '/w==' }] }],
    ['a payload that is no base64', { payload: '*', payloadType: 'x', signatures: [{ sig: '/w==' }] }],
    ['a signature that is no base64', { payload: '', payloadType: 'x', signatures: [{ sig: '*' }] }],
  ])('an envelope with %s is refused', (_, value) => {
    expect(envelopeSchema.safeParse(value).success).toBe(false);
  });
});

/** RFC 8032, 7.1: TEST 1, TEST 2, TEST 3. */
const rfc8032 = [
  {
    seed: '9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60',
    public: 'd75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a',
    message: '',
    sig: 'e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b',
  },
  {
    seed: '4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb',
    public: '3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c',
    message: '72',
    sig: '92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00',
  },
  {
    seed: 'c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7',
    public: 'fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025',
    message: 'af82',
    sig: '6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a',
  },
] as const;

/** RFC 8410: the DER that stands before the 32 bytes of an Ed25519 key. */
function privateOf(seed: string): KeyObject {
  return createPrivateKey({
    key: Buffer.from(`302e020100300506032b657004220420${seed}`, 'hex'),
    format: 'der',
    type: 'pkcs8',
  });
}
function publicOf(key: string): KeyObject {
  return createPublicKey({
    key: Buffer.from(`302a300506032b6570032100${key}`, 'hex'),
    format: 'der',
    type: 'spki',
  });
}

test.each(rfc8032)(
  'Ed25519 of message "$message" is what RFC 8032 says',
  ({ seed, public: key, message, sig }) => {
    expect(sign(null, Buffer.from(message, 'hex'), privateOf(seed)).toString('hex')).toBe(sig);
    expect(verify(null, Buffer.from(message, 'hex'), publicOf(key), Buffer.from(sig, 'hex'))).toBe(true);
    expect(verify(null, Buffer.from(`${message}00`, 'hex'), publicOf(key), Buffer.from(sig, 'hex'))).toBe(
      false,
    );
  },
);
