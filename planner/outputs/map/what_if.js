// The scenarios beside the plan: what each changes, what it comes to, and which sites move in and out.

function fillWhatIf(run) {
  if (!run.scenarios.length) return;
  const [, ...scenarios] = run.scenarios;
  const what = isFunded(run) ? "funded programme" : "sites to equip";
  byId("what-if").append(
    element("h2", "", "What if"),
    element("p", "", `Each scenario is the whole plan computed again with a few keys changed. The map and the list show the plan as it is. scenarios.csv has every site that moves, and why.`),
    scenarioScroll(run),
    ...scenarios.flatMap((one) => scenarioWords(one, what)),
  );
}

// With a budget in any of them the programme is what is funded, else what can be equipped.
function isFunded(run) {
  return run.scenarios.some(({ totals }) => totals && totals.funded > 0);
}

// On a narrow screen the table scrolls by itself, by keyboard too.
function scenarioScroll(run) {
  const made = element("div", "scenario-scroll", scenarioTable(run));
  made.tabIndex = 0;
  made.setAttribute("role", "region");
  made.setAttribute("aria-label", "Scenarios");
  return made;
}

function scenarioTable(run) {
  const part = isFunded(run) ? "funded" : "equip";
  const heads = ["", "To equip", ...(part === "funded" ? ["Funded"] : []), `Capital, ${run.currency}`, "People", "m³/d", `${run.currency}/m³`];
  const body = run.scenarios.map(({ name, totals }) => {
    const head = element("th", "", name ? foreign(name) : "The plan");
    head.scope = "row";
    if (!totals) {
      const cell = element("td", "", "rules clash: no result");
      cell.colSpan = heads.length - 1;
      return element("tr", "", head, cell);
    }
    const cost = totals.cost_per_m3_median;
    const texts = [
      wholeText(totals.equip), ...(part === "funded" ? [wholeText(totals.funded)] : []), largeText(totals[`${part}_capital_cost`]),
      largeText(totals[`${part}_people_served`]), largeText(totals[`${part}_volume_used_m3_day`]), cost === null ? MISSING : costText(cost),
    ];
    return element("tr", "", head, ...texts.map((text) => element("td", "", text)));
  });
  const top = element("tr", "", ...heads.map((words) => {
    const made = element(words ? "th" : "td", "", words);
    if (words) made.scope = "col";
    return made;
  }));
  const caption = element("caption", "", `Capital, people and water of ${part === "funded" ? "the funded sites" : "the sites to equip"}; cost of water: median of the sites to equip.`);
  return element("table", "scenarios", caption, element("thead", "", top), element("tbody", "", ...body));
}

function scenarioWords(one, what) {
  const lines = [["Changed", one.changes.join("; ") || "nothing"]];
  if (one.clash) lines.push(["Clash", one.clash]);
  else lines.push([`Into the ${what}`, one.in.join(", ") || "none"], [`Out of the ${what}`, one.out.join(", ") || "none"]);
  return [element("h2", "", foreign(one.name)), element("dl", "details", ...lines.map(([words, text]) => detailRow([words, text])))];
}
