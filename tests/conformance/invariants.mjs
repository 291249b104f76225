// Layer "invariants": every constraint of the official definitions, evaluated by the fhirpath package. Only the
// way to the nodes is ours (walker.mjs). A finding of severity "warning" is an object {warning}.

/** Returns resource -> findings. */
export function invariantJudge({ load, release, walker }) {
  const fhirpath = load('fhirpath');
  const model = load(`fhirpath/fhir-context/${release === 'r5' ? 'r5' : 'r4'}`);
  // Five rules of R5 look at what a reference leads to. We refer to people and wards by identifier only, which
  // leads nowhere, and these rules hold then.
  const userInvocationTable = { resolve: { fn: () => [], arity: { 0: [] } } };
  const compiled = new Map();
  const all = new Map();  // ElementDefinition -> its constraints

  function constraintsOf(element) {
    if (!all.has(element)) all.set(element, (element?.constraint ?? []).filter((c) => c.expression));
    return all.get(element);
  }

  function program(base, expression) {
    const key = `${base} ${expression}`;
    if (!compiled.has(key)) {
      // dom-3 uses as() on a collection, which FHIRPath allows on single items only; ofType() is meant.
      const mended = expression.replaceAll('descendants().as(', 'descendants().ofType(');
      compiled.set(key, fhirpath.compile({ base, expression: mended }, model, { traceFn: () => {}, userInvocationTable }));
    }
    return compiled.get(key);
  }

  return (resource) => {
    const found = [];
    function judge(constraint, base, expression, node, at, context) {
      let result;
      try {
        result = program(base, expression)(node, context);
      } catch (error) {
        found.push(`${at}: ${constraint.key} cannot be evaluated: ${error.message}`);
        return;
      }
      // An empty result counts as kept: bdl-8 as published gives none where fullUrl is absent.
      if (result.length === 0 || result[0] === true) return;
      const text = `${at}: ${constraint.key} ${constraint.human}`;
      found.push(constraint.severity === 'error' ? text : { warning: text });
    }
    const visitor = {
      object(node, scope, at, context) {
        for (const c of constraintsOf(scope.element)) judge(c, scope.path, c.expression, node, at, context);
      },
      // What stands on the use and not on the type: nothing of the type itself is judged twice.
      complex(value, member, scope, at, context) {
        if (!member.inside || member.inside[0] === scope.owner) return;
        const own = walker.rootConstraintKeys(member.inside[0]);
        for (const c of constraintsOf(member.element))
          if (!own.has(c.key)) judge(c, member.element.path, c.expression, value, at, context);
      },
      // On the parent, because only there the engine sees a value together with its _ companion.
      primitives(parent, member, scope, at, context) {
        const name = member.name.endsWith('[x]') ? member.name.slice(0, -3) : member.name;
        for (const c of constraintsOf(member.element)) {
          if (c.key === 'ele-1' && member.typeName === 'xhtml') continue;  // hasValue() is false for xhtml here
          judge(c, scope.path, `\`${name}\`.all(${c.expression})`, parent, at, context);
        }
      },
    };
    walker.resource(resource, resource.resourceType, resource, visitor);
    return found;
  };
}
