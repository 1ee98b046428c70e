"use strict";
/* Adds to each table a button a column that sorts its rows; nothing else of the page needs this script. */
(function () {
  var words = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

  /* The first figure of a cell; "<0.01" lies between nothing and 0.01; what is no figure is not a number. */
  function figure(text) {
    if (text === "none") { return 0; }
    var found = text.replace(/,/g, "").match(/^(-)?(<|below )?(\d+(?:\.\d+)?)/);
    if (!found) { return NaN; }
    var value = Number(found[3]) / (found[2] ? 2 : 1);
    return found[1] ? -value : value;
  }

  function keyed(row, column, numeric) {
    var text = row.cells[column].textContent.trim();
    var value = numeric ? figure(text) : text;
    return { row: row, value: value, known: numeric ? !isNaN(value) : text !== "" };
  }

  /* What is not known stays last, whichever way; equals keep their order. */
  function sort(table, column, numeric, down) {
    var body = table.tBodies[0];
    var rows = Array.prototype.map.call(body.rows, function (row) { return keyed(row, column, numeric); });
    rows.sort(function (a, b) {
      if (!a.known || !b.known) { return Number(b.known) - Number(a.known); }
      var order = numeric ? a.value - b.value : words.compare(a.value, b.value);
      return down ? -order : order;
    });
    rows.forEach(function (one) { body.appendChild(one.row); });
  }

  function addButton(table, head, column) {
    var numeric = head.classList.contains("n");
    var button = document.createElement("button");
    button.type = "button";
    while (head.firstChild) { button.appendChild(head.firstChild); }
    head.appendChild(button);
    button.addEventListener("click", function () {
      var was = head.getAttribute("aria-sort");
      var down = was ? was === "ascending" : numeric; /* figures: the largest first */
      sort(table, column, numeric, down);
      Array.prototype.forEach.call(table.tHead.rows[0].cells, function (one) { one.removeAttribute("aria-sort"); });
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
    });
  }

  document.querySelectorAll("table.sorts").forEach(function (table) {
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (head, column) { addButton(table, head, column); });
  });
})();
