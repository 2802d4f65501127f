// Fields of our own: a list to choose from, a line to write on, a day and a box to tick, as the browser has them (dashboard/fields.py).
window.truerun_parts = window.truerun_parts || {};
(() => {
  const AT_ONCE = 40; // choices of a longer list are put in when somebody comes to it
  const said = (props) => Object.fromEntries(Object.entries(props).filter(([name]) => name.startsWith("aria-")));
  const framed = ({ id, label, className, style }, field) => {
    const el = window.React.createElement;
    return el("div", { className, style }, label ? el("label", { htmlFor: id }, label) : null, field);
  };
  const plain = (one) => (typeof one === "string" ? { value: one, label: one } : one);

  const Select = (props) => {
    const { createElement: el, useState } = window.React;
    const { id, value, data, disabled, clearable, setProps } = props;
    const groups = data.map((one) => (one.items ? { group: one.group, items: one.items.map(plain) } : plain(one)));
    const flat = groups.flatMap((one) => one.items || [one]);
    const [whole, show] = useState(flat.length <= AT_ONCE);
    const option = (one) => el("option", { key: one.value, value: one.value }, one.label);
    const held = flat.find((one) => one.value === value);
    const none = clearable || !held ? [el("option", { key: "", value: "", hidden: !clearable }, "")] : [];
    const shown = whole
      ? groups.map((one) => (one.items ? el("optgroup", { key: `group ${one.group}`, label: one.group }, one.items.map(option)) : option(one)))
      : held ? [option(held)] : [];
    const come = () => whole || show(true);
    const chosen = (event) => setProps({ value: event.target.value || null });
    const more = { id, disabled, value: held ? value : "", onChange: chosen, onFocus: come, onPointerDown: come, onMouseDown: come };
    return framed(props, el("select", { ...more, ...said(props) }, none, shown));
  };

  const TextInput = (props) => {
    const { createElement: el, useEffect, useRef, useState } = window.React;
    const { id, value, type, name, readOnly, placeholder, autoComplete, maxLength, list, debounce, setProps } = props;
    const [typed, write] = useState(value || ""), soon = useRef(0);
    useEffect(() => write(value || ""), [value]);
    const heard = ({ target }) => {
      const told = target.value;
      write(told);
      clearTimeout(soon.current);
      if (debounce) soon.current = setTimeout(() => setProps({ value: told }), debounce);
      else setProps({ value: told });
    };
    const more = { id, type: type || "text", name, value: typed, readOnly, placeholder, autoComplete, maxLength, list, onChange: heard };
    return framed(props, el("input", { ...more, ...said(props) }));
  };

  const DayInput = (props) => {
    const { createElement: el, useEffect, useRef, useState } = window.React;
    const { id, label, value, day, order, placeholder, setProps } = props;
    const [typed, write] = useState(value || ""), calendar = useRef(null);
    useEffect(() => write(value || ""), [value]);
    const tell = (text) => { if (text !== (value || "")) setProps({ value: text }); };
    const picked = ({ target }) => {
      const [y, m, d] = target.value.split("-");
      const text = !target.value ? "" : order === "dmy" ? `${d}/${m}/${y}` : order === "mdy" ? `${m}/${d}/${y}` : target.value;
      write(text);
      tell(text);
    };
    const line = { id, type: "text", className: "day-text", value: typed, placeholder, autoComplete: "off", maxLength: 20 };
    const heard = { onChange: ({ target }) => write(target.value), onBlur: () => tell(typed), onKeyDown: ({ key }) => { if (key === "Enter") tell(typed); } };
    const open = { type: "button", className: "day-pick", "aria-label": `${label}: pick a day`, onClick: () => calendar.current.showPicker() };
    const hidden = { ref: calendar, type: "date", className: "day-calendar", defaultValue: day || "", key: day, tabIndex: -1, "aria-hidden": true, onChange: picked };
    return framed(props, el("span", { className: "day-line" }, el("input", { ...line, ...heard, ...said(props) }), el("input", hidden), el("button", open)));
  };

  const Tick = ({ id, label, value, className, setProps }) => {
    const el = window.React.createElement;
    const onChange = ({ target }) => setProps({ value: target.checked ? ["yes"] : [] });
    return el("div", { className }, el("input", { id, type: "checkbox", checked: value.length > 0, onChange, "aria-label": label }));
  };
  Object.assign(window.truerun_parts, { Select, TextInput, DayInput, Tick });
})();
