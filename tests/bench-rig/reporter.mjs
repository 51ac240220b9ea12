// One line a test, what it has to say, and a last line with the counts.

export default async function* reporter(events) {
  const count = { pass: 0, fail: 0 };
  for await (const { type, data } of events) {
    // Files and groups are reported as tests of their own around what they hold.
    const isFile = data?.name?.endsWith('.mjs') || (data?.details?.type === 'suite' && type === 'test:pass');
    if (data?.skip !== undefined) continue;
    if ((type === 'test:pass' || type === 'test:fail') && !isFile) {
      const passed = type === 'test:pass';
      count[passed ? 'pass' : 'fail']++;
      const seconds = (data.details.duration_ms / 1000).toFixed(1);
      yield `${passed ? 'ok    ' : 'FAILED'} ${data.name} (${seconds} s)\n`;
      if (!passed) yield `${indent(data.details.error?.cause?.stack ?? String(data.details.error))}\n`;
    } else if (type === 'test:fail') {
      count.fail++;
      yield `FAILED ${data.name}\n${indent(String(data.details.error?.cause ?? data.details.error))}\n`;
    } else if (type === 'test:diagnostic' && data.nesting === 0 && !/^(tests|suites|pass|fail|cancelled|skipped|todo|duration_ms) /.test(data.message)) {
      yield `       ${data.message}\n`;
    } else if (type === 'test:stderr' || type === 'test:stdout') {
      yield data.message;
    }
  }
  yield `${count.pass} passed, ${count.fail} failed\n`;
}

const indent = (text) => text.replace(/^/gm, '       ');
