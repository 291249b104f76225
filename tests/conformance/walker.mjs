// Walks a resource beside the snapshots of the official StructureDefinitions and tells a visitor what
// it meets. The rules themselves are in structure.mjs and invariants.mjs.
import { capitalized, fhirType, isSystemType } from '../../schemas/fhir/definitions.mjs';

export const isObject = (v) => v !== null && typeof v === 'object' && !Array.isArray(v);

/**
 * Visitor, each call optional:
 *   problem(at, text)                     a member the definitions do not allow here
 *   object(node, scope, at, context)      an object; scope.element is its ElementDefinition
 *   complex(value, member, scope, at, context)    a value of a complex type, where it is used
 *   primitive(value, member, scope, at)   one value of a primitive type
 *   primitives(parent, member, scope, at, context)  all values of a primitive member
 * member: {name, element, type, typeName, isPrimitive}; context: {resource, rootResource}, the meaning of
 * FHIRPath's %resource and %rootResource.
 */
export class Walker {
  #structures;
  #scopes = new Map();

  constructor(structures) { this.#structures = structures; }

  resource(resource, at, rootResource, visitor) {
    const type = resource.resourceType;
    const structure = this.#structures.get(type);
    if (structure?.kind !== 'resource' || structure.abstract) {
      visitor.problem?.(at, `no resource type "${type}"`);
      return;
    }
    this.#object(resource, this.#scope(type, type), at, { resource, rootResource }, visitor);
  }

  /** Keys of the constraints that stand on a type itself. */
  rootConstraintKeys(type) {
    return new Set((this.#scope(type, type).element.constraint ?? []).map((c) => c.key));
  }

  /** The members that an object at `path` of the structure `owner` may have. */
  #scope(owner, path) {
    const key = `${owner} ${path}`;
    if (this.#scopes.has(key)) return this.#scopes.get(key);
    const structure = this.#structures.get(owner);
    const all = structure.snapshot.element.filter((e) => !e.sliceName);
    const elements = all.filter((e) => e.path.slice(0, e.path.lastIndexOf('.')) === path);
    const scope = { owner, path, elements, members: new Map(),
      isRoot: path === owner && structure.kind === 'resource', element: all.find((e) => e.path === path) };
    for (const element of elements) {
      const name = element.path.slice(path.length + 1);
      const isBackbone = all.some((e) => e.path.startsWith(`${element.path}.`));
      for (const type of element.type ?? [null]) {
        const typeName = type ? fhirType(type) : null;
        const isPrimitive = this.#structures.get(typeName)?.kind === 'primitive-type';
        const member = { name, element, type, typeName, isPrimitive,
          hasCompanion: isPrimitive && !isSystemType(type), inside: null };
        if (element.contentReference) member.inside = [owner, element.contentReference.slice(1)];
        else if (isBackbone) member.inside = [owner, element.path];
        else if (!isPrimitive) member.inside = [typeName, typeName];
        member.jsonName = name.endsWith('[x]') ? name.slice(0, -3) + capitalized(typeName) : name;
        scope.members.set(member.jsonName, member);
      }
    }
    this.#scopes.set(key, scope);
    return scope;
  }

  #object(node, scope, at, context, visitor) {
    visitor.object?.(node, scope, at, context);
    const present = new Map();  // element -> the set of its members that are there
    for (const key of Object.keys(node)) {
      if (key === 'resourceType' && scope.isRoot) continue;
      const member = scope.members.get(key.startsWith('_') ? key.slice(1) : key);
      if (!member || (key.startsWith('_') && !member.hasCompanion)) {
        visitor.problem?.(`${at}.${key}`, 'no such element');
        continue;
      }
      if (!present.has(member.element)) present.set(member.element, new Set());
      present.get(member.element).add(member);
    }
    if (Object.keys(node).length === (scope.isRoot ? 1 : 0)) visitor.problem?.(at, 'an empty object');
    for (const element of scope.elements) {
      const members = present.get(element);
      if (members?.size > 1) visitor.problem?.(at, `more than one choice of ${element.path}`);
      if (!members && element.min > 0) visitor.problem?.(at, `${element.path} is missing`);
      for (const member of members ?? []) this.#member(node, member, scope, at, context, visitor);
    }
  }

  #member(node, member, scope, at, context, visitor) {
    const place = `${at}.${member.jsonName}`;
    const isMany = member.element.max !== '1';
    const list = (value, name) => {
      if (value === undefined) return [];
      if (Array.isArray(value) !== isMany)
        visitor.problem?.(`${at}.${name}`, isMany ? 'must be an array' : 'must not be an array');
      else if (isMany && value.length === 0) visitor.problem?.(`${at}.${name}`, 'an empty array');
      return Array.isArray(value) ? value : [value];
    };
    const values = list(node[member.jsonName], member.jsonName);
    const companions = member.hasCompanion ? list(node[`_${member.jsonName}`], `_${member.jsonName}`) : [];
    const count = Math.max(values.length, companions.length);
    if (member.element.max !== '*' && count > Number(member.element.max))
      visitor.problem?.(place, `more than ${member.element.max}`);
    for (let i = 0; i < count; i++) {
      const here = isMany ? `${place}[${i}]` : place;
      if (member.isPrimitive) this.#primitive(values[i], companions[i], member, scope, here, context, visitor);
      else this.#complex(values[i], member, scope, here, context, visitor);
    }
    if (member.isPrimitive) visitor.primitives?.(node, member, scope, place, context);
  }

  #primitive(value, companion, member, scope, at, context, visitor) {
    const isThere = value !== undefined && value !== null;
    if (isThere) visitor.primitive?.(value, member, scope, at);
    if (companion === undefined || companion === null) {
      if (!isThere) visitor.problem?.(at, 'neither a value nor an extension');
    } else if (!isObject(companion)) visitor.problem?.(at, 'its _ companion is no object');
    else this.#object(companion, this.#scope('Element', 'Element'), at, context, visitor);
  }

  #complex(value, member, scope, at, context, visitor) {
    if (!isObject(value)) {
      visitor.problem?.(at, 'must be an object');
    } else if (member.typeName === 'Resource') {
      const isContained = member.name === 'contained';
      this.resource(value, at, isContained ? context.rootResource : value, visitor);
    } else {
      visitor.complex?.(value, member, scope, at, context);
      this.#object(value, this.#scope(...member.inside), at, context, visitor);
    }
  }
}
