// Every key of the plan with its value, by section; what the plan does not set is marked as a default.

function fillAssumptions(run) {
  const sections = new Map();
  for (const [key, value, isDefault] of run.assumptions) {
    const [section, ...rest] = key.split(".");
    if (!sections.has(section)) sections.set(section, []);
    sections.get(section).push([rest.join(".") || section, element("span", "", foreign(value), isDefault ? element("small", "default", "default") : "")]);
  }
  const defaults = run.assumptions.filter(([, , isDefault]) => isDefault).length;
  byId("assumptions").append(
    element("p", "", `${run.assumptions.length} keys of the plan are in use; ${defaults} of them are defaults that the plan file does not set.`),
    ...[...sections].flatMap(([section, rows]) => [element("h2", "", foreign(section)), keyTable(rows)]),
    ...withoutEffect(run.without_effect),
  );
}

function withoutEffect(pairs) {
  if (!pairs.length) return [];
  return [element("h2", "", "Written in the plan, without effect"), keyTable(pairs)];
}
