// A ConceptMap of R4 as R5 wants it (R5 5.0.0, ConceptMap; its page lists the differences from R4).

// R4's concept-map-equivalence says how wide the target is; R5's concept-map-relationship tells it of the source.
const RELATIONSHIP = { equivalent: 'equivalent', equal: 'equivalent', wider: 'source-is-narrower-than-target',
  subsumes: 'source-is-broader-than-target', narrower: 'source-is-broader-than-target',
  specializes: 'source-is-narrower-than-target', inexact: 'related-to', relatedto: 'related-to',
  disjoint: 'not-related-to' };

/** "https://.../line-care#line-kind" -> "line-kind" */
const attributeOf = (uri) => uri.slice(uri.indexOf('#') + 1);

/** What a mapping depends on or also gives, as a Coding with its display, if it has one. */
const attribute = ({ property, system, value, display }) =>
  ({ attribute: attributeOf(property), valueCoding: { system, code: value, ...(display ? { display } : {}) } });

function target({ equivalence, dependsOn, product: products, ...rest }) {
  const relationship = RELATIONSHIP[equivalence];
  if (!relationship) throw new Error(`no relationship of R5 for ${equivalence}`);
  return { ...rest, relationship, ...(dependsOn ? { dependsOn: dependsOn.map(attribute) } : {}),
    ...(products ? { product: products.map(attribute) } : {}) };
}

/** R5 declares what conditions and products are about. */
function attributes(map) {
  const targets = map.group.flatMap((group) => group.element.flatMap((element) => element.target));
  const uris = targets.flatMap((one) => [...one.dependsOn ?? [], ...one.product ?? []]).map(({ property }) => property);
  return [...new Set(uris)].sort().map((uri) => ({ code: attributeOf(uri), uri, type: 'Coding' }));
}

export function toR5(map) {
  const { group, ...rest } = map;
  const additionalAttribute = attributes(map);
  return { ...rest, ...(additionalAttribute.length ? { additionalAttribute } : {}),
    group: group.map((one) => ({ ...one,
      element: one.element.map((element) => ({ ...element, target: element.target.map(target) })) })) };
}
