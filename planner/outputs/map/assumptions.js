// Every key of the plan with its value, by section; what the plan does not set is marked as a default.

function startAssumptions(run) {
  whenSpoken(() => byId("assumptions").replaceChildren(...assumptionParts(run)));
}

function assumptionParts(run) {
  const sections = new Map();
  for (const [key, value, isDefault] of run.assumptions) {
    const [section, ...rest] = key.split(".");
    if (!sections.has(section)) sections.set(section, []);
    sections.get(section).push([rest.join(".") || section, element("span", "", foreign(told(value)), isDefault ? element("small", "default", say("page_default")) : "")]);
  }
  const defaults = run.assumptions.filter(([, , isDefault]) => isDefault).length;
  return [
    element("p", "", say("page_assumptions", { keys: wholeText(run.assumptions.length), defaults: wholeText(defaults) })),
    ...[...sections].flatMap(([section, rows]) => [element("h2", "", foreign(section)), keyTable(rows)]),
    ...withoutEffect(run.without_effect),
  ];
}

function withoutEffect(pairs) {
  if (!pairs.length) return [];
  return [element("h2", "", say("page_without_effect")), keyTable(pairs.map(([key, text]) => [key, told(text)]))];
}
