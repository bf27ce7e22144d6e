// The scenarios beside the plan: what each changes, what it comes to, and which sites move in and out.

function startWhatIf(run) {
  if (!run.scenarios.length) return;
  const [, ...scenarios] = run.scenarios;
  whenSpoken(() =>
    byId("what-if").replaceChildren(
      element("h2", "", say("page_what_if")),
      element("p", "", say("page_what_if_words")),
      scenarioScroll(run),
      ...scenarios.flatMap((one) => scenarioWords(one, isFunded(run))),
    ),
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
  made.setAttribute("aria-label", say("page_scenarios"));
  return made;
}

function scenarioTable(run) {
  const part = isFunded(run) ? "funded" : "equip";
  const heads = ["", say("page_to_equip"), ...(part === "funded" ? [say("page_funded")] : []), say("page_head_capital", { currency: run.currency }), say("label_people"), "m³/d", `${run.currency}/m³`];
  const body = run.scenarios.map(({ name, totals }) => {
    const head = element("th", "", name ? foreign(name) : say("page_the_plan"));
    head.scope = "row";
    if (!totals) {
      const cell = element("td", "", say("page_no_result"));
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
  const caption = element("caption", "", say(part === "funded" ? "page_scenarios_funded" : "page_scenarios_equip"));
  return element("table", "scenarios", caption, element("thead", "", top), element("tbody", "", ...body));
}

function scenarioWords(one, funded) {
  const none = say("page_none");
  const lines = [[say("page_changed"), one.changes.map(told).join("; ") || say("page_nothing")]];
  if (one.clash) lines.push([say("page_clash"), told(one.clash)]);
  else {
    lines.push([say(funded ? "page_into_funded" : "page_into_equip"), one.in.map(told).join(", ") || none]);
    lines.push([say(funded ? "page_out_of_funded" : "page_out_of_equip"), one.out.map(told).join(", ") || none]);
  }
  return [element("h2", "", foreign(one.name)), element("dl", "details", ...lines.map(([words, text]) => detailRow([words, text])))];
}
