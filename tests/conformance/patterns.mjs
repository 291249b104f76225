// The regular expressions that FHIR publishes, as JavaScript reads them. They are meant as in XML Schema: \s is
// space, tab, line feed and carriage return, nothing else (W3C XML Schema part 2, appendix F.1.1). JavaScript
// counts the no-break space and others as \s, and would refuse a note that holds one.
const SPACE = ' \\t\\n\\r';
const OTHER = '\\u{0}-\\u{8}\\u{b}\\u{c}\\u{e}-\\u{1f}\\u{21}-\\u{10ffff}';

export function fhirPattern(text) {
  let isInClass = false;
  return text.replace(/\\.|[[\]]/g, (token) => {
    if (token === '[') isInClass = true;
    if (token === ']') isInClass = false;
    const set = token === '\\s' ? SPACE : token === '\\S' ? OTHER : null;
    if (set === null) return token;
    return isInClass ? set : `[${set}]`;
  });
}

/** For ajv's option code.regExp. */
export const fhirRegExp = Object.assign((text, flags) => new RegExp(fhirPattern(text), flags), { code: 'new RegExp' });
