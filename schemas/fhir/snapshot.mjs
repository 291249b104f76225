// A profile's snapshot: the base definition's elements with the profile's differential laid over them.
import { readProfiles } from '../profiles/profiles.mjs';
import { definitionsFolder, fhirType, structureDefinitions } from './definitions.mjs';

const parentOf = (id) => id.slice(0, id.lastIndexOf('.'));

/**
 * A copy for a profile: without the cross references into other standards' models, which would need those declared
 * beside them; and an element that is defined by another one is so by that of the base, not of the profile.
 */
function inherited(element, base) {
  const { mapping, ...rest } = structuredClone(element);
  if (rest.contentReference?.startsWith('#')) rest.contentReference = `${base.url}${rest.contentReference}`;
  return rest;
}

/** Copies of the elements of `base` below `root`, moved from that id and path to other ones. */
function moved(elements, base, root, to) {
  return elements.filter((e) => e.id.startsWith(`${root.id}.`)).map((e) => ({ ...inherited(e, base),
    id: to.id + e.id.slice(root.id.length), path: to.path + e.path.slice(root.path.length) }));
}

class Snapshot {
  #base;
  #elements;
  #structures;

  constructor(base, structures) {
    this.#base = base;
    this.#elements = base.snapshot.element.map((e) => inherited(e, base));
    this.#structures = structures;
  }

  elements() { return this.#elements; }

  #indexOf(id) { return this.#elements.findIndex((e) => e.id === id); }

  /** Index behind the element at `index` and all that belongs to it. */
  #endOf(index) {
    const { id } = this.#elements[index];
    let end = index + 1;
    while (/^[.:]/.test(this.#elements[end]?.id.slice(id.length)) && this.#elements[end].id.startsWith(id)) end++;
    return end;
  }

  /** The element with that id; what lies inside a datatype or a slice is laid out first. */
  find(id, path) {
    const found = this.#indexOf(id);
    if (found >= 0) return this.#elements[found];
    const name = id.slice(id.lastIndexOf('.') + 1);
    if (name.includes(':')) return this.#addSlice(id, path);
    this.#unfold(this.find(parentOf(id), parentOf(path)));
    const inner = this.#indexOf(id);
    if (inner < 0) throw new Error(`no element ${id}`);
    return this.#elements[inner];
  }

  #unfold(element) {
    if (element.type?.length !== 1) throw new Error(`${element.id} has not one type`);
    const index = this.#elements.indexOf(element);
    if (this.#elements[index + 1]?.id.startsWith(`${element.id}.`)) return;
    const type = this.#structures.get(fhirType(element.type[0]));
    this.#elements.splice(index + 1, 0, ...moved(type.snapshot.element, type, type.snapshot.element[0], element));
  }

  #addSlice(id, path) {
    const whole = this.#elements[this.#indexOf(id.slice(0, id.lastIndexOf(':')))];
    const { slicing, ...rest } = structuredClone(whole);
    const slice = { ...rest, id, path, min: 0, sliceName: id.slice(id.lastIndexOf(':') + 1) };
    const end = this.#endOf(this.#elements.indexOf(whole));
    this.#elements.splice(end, 0, slice, ...moved(this.#elements, this.#base, whole, slice));
    return slice;
  }
}

/** Throws when the differential's rows do not stand in the order of the snapshot, as FHIR asks. */
function checkOrder(profile, elements) {
  const places = profile.differential.element.map((row) => elements.findIndex((e) => e.id === row.id));
  const wrong = places.findIndex((place, i) => i > 0 && place <= places[i - 1]);
  if (wrong > 0) throw new Error(`${profile.url}: ${profile.differential.element[wrong].id} stands too late`);
}

/** The snapshot's elements of `profile`, a StructureDefinition with a differential only. */
export function snapshotOf(profile, base, structures) {
  const snapshot = new Snapshot(base, structures);
  for (const row of profile.differential.element) {
    const element = snapshot.find(row.id, row.path);
    const { constraint, ...others } = row;
    Object.assign(element, structuredClone(others));
    if (constraint) {
      const source = profile.url;
      element.constraint = [...(element.constraint ?? []), ...constraint.map((c) => ({ ...c, source }))];
    }
  }
  checkOrder(profile, snapshot.elements());
  return snapshot.elements();
}

/**
 * All our profiles of a release ("r4", "r4b", "r5") as complete StructureDefinitions, snapshot and differential, and
 * the ValueSets of status codes that only they use. nodeModules: the folder that holds the official definitions.
 */
export function completeProfiles(release, nodeModules) {
  const structures = structureDefinitions(definitionsFolder(nodeModules, release));
  const { profiles, valueSets } = readProfiles(release);
  const complete = ({ differential, ...rest }) => ({ ...rest,
    snapshot: { element: snapshotOf({ ...rest, differential }, structures.get(rest.type), structures) }, differential });
  return { profiles: profiles.map(complete), valueSets };
}
