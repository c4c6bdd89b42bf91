/* Small helps for forms whose parts come back from the server. */
(function () {
  "use strict";

  /* What a person opened or closed stays so when its part is swapped. */
  var open = {};
  document.addEventListener("htmx:beforeSwap", function (event) {
    var target = event.detail.target;
    if (target && target.querySelectorAll) {
      target.querySelectorAll("details[id]").forEach(function (part) {
        open[part.id] = part.open;
      });
    }
  });
  document.addEventListener("htmx:afterSwap", function () {
    Object.keys(open).forEach(function (id) {
      var part = document.getElementById(id);
      if (part && open[id] && !part.hasAttribute("data-closes")) {
        part.open = true;
      }
    });
    open = {};
    mark();
  });

  /* A row's message tells assistive technology which fields it speaks of. */
  function mark() {
    document.querySelectorAll(".reading").forEach(function (row) {
      var told = document.getElementById(row.id + "-errors");
      var bad = Boolean(told && told.textContent.trim());
      row.classList.toggle("field-bad", bad);
      row.querySelectorAll("input[inputmode]").forEach(function (field) {
        if (bad) {
          field.setAttribute("aria-invalid", "true");
        } else {
          field.removeAttribute("aria-invalid");
        }
      });
    });
  }
  document.addEventListener("htmx:oobAfterSwap", mark);
})();
