"""RTLIL modules to one flat netlist: hierarchy linked with a worklist, cells lowered, bits settled."""

from __future__ import annotations

from ..errors import NetlistError, RtlilError, UnsupportedError
from ..netlist import Netlist
from . import assemble
from .adders import COMPOUND, lower_compound
from .assemble import Instance
from .fights import settle_fights
from .fine_cells import lower_gate
from .lower import OPERATORS, SKIPPED, Design, Offset, PlacedCell, lower_operator
from .memories import PendingMemory, lower_memory, lower_port, whole_memory
from .nets import Nets
from .processes import lower_process
from .records import Module, Wire, digits, public
from .registers import REGISTERS, lower_register

#: The modules of each text by name; the text that holds the top comes first.
Library = list[dict[str, Module]]


class Linker:
    """Walks the hierarchy from the top and builds its netlist."""

    def __init__(self, library: Library, top: str, warnings: list[str]) -> None:
        self.library = library
        self.nets = Nets()
        self.design = Design(self.nets)
        self.warnings = warnings
        self.memories: list[PendingMemory] = []
        self.instances: list[Instance] = []
        self.top = library[0][top]
        self.at = f"module {public(top)}"  # what is being read, for a refusal

    def run(self) -> Netlist:
        """The netlist of the top."""
        if self.top.black_box:
            raise NetlistError(
                f"module {public(self.top.name)} is a black box or empty",
                place=self.top.src,
                remedy="name another",
            )
        root = Instance(self.top, 0, Offset(self.nets.add_wires(self.top, ""), "", self.top.src), None)
        ports = self.top.ports()
        inputs: dict[str, int] = {}
        for wire in ports:
            if wire.direction == "inout":
                raise self.inout(self.top, wire.name, wire.src)
            if wire.direction == "input":
                name = public(wire.name)
                inputs[name], bits = self.nets.value(wire.width, f"input {name}", wire.src)
                self.nets.connect(root.scope.bits(wire.bits), bits)
        waiting = [root]
        while waiting:
            instance = waiting.pop()
            self.instances.append(instance)
            waiting += reversed(self.lower(instance))
        for number, memory in enumerate(self.memories):
            lower_memory(self.design, memory, number)
        self.warnings += settle_fights(self.design)
        self.nets.settle()
        return self.finish(ports, inputs)

    def finish(self, ports: list[Wire], inputs: dict[str, int]) -> Netlist:
        """The record of the settled design."""
        nets, design = self.nets, self.design
        scope = self.instances[0].scope
        outputs = {public(w.name): nets.word(scope.bits(w.bits)) for w in ports if w.direction == "output"}
        names = assemble.names(nets, self.instances)
        return Netlist(
            name=public(self.top.name),
            widths=tuple(nets.widths),
            inputs=inputs,
            outputs=outputs,
            cells=assemble.cells(design),
            registers=assemble.registers(design, self.instances, names),
            memories=tuple([assemble.memory(nets, pending) for pending in self.memories]),
            names=names,
            warnings=(*self.warnings, *nets.warnings()),  # once everything has been read
        )

    def lower(self, instance: Instance) -> list[Instance]:
        """Lower the cells of one instance; returns the instances in it."""
        module, scope = instance.module, instance.scope
        children: list[Instance] = []
        memories = {}
        for text in module.memories:
            name = scope.path + public(text.name)
            memories[text.name] = PendingMemory(name, text.width, text.size, text.offset, text.src)
        for cell in module.cells:
            site = PlacedCell(cell, scope)
            kind = cell.kind
            self.at = f"cell {site.title}"
            if kind in OPERATORS:
                self.note_floating(site)
                lower_operator(self.design, site)
            elif kind in REGISTERS:
                lower_register(self.design, site)
            elif kind[0] == "\\" or kind.startswith("$paramod"):
                children.append(self.child(instance, site))
            elif kind.startswith(("$memrd", "$memwr", "$meminit")):
                lower_port(self.memory(memories, site), site)
            elif kind in ("$mem", "$mem_v2"):
                self.memories.append(whole_memory(site))
            elif kind in COMPOUND:
                lower_compound(self.design, site)
            elif kind == "$scopeinfo" or self.skipped(site) or lower_gate(self.design, site):
                pass
            else:
                raise site.refuse(_REMEDIES.get(kind, "let Yosys turn it into simpler cells"))
        self.at = f"module {public(module.name)}"
        self.memories += memories.values()
        for connection in module.connects:
            self.nets.connect(scope.bits(connection.target), scope.bits(connection.source))
        for process in module.processes:
            lower_process(self.design, process, scope)
        return children

    def note_floating(self, site: PlacedCell) -> None:
        if site.kind == "$tribuf":
            net = self.nets.public_name(site.port("Y")) or "a net"
            self.warnings.append(
                f"{site.place}: {net} floats (z) where nothing drives it: what hangs on it is unsettled then"
            )

    def skipped(self, site: PlacedCell) -> bool:
        if site.kind not in SKIPPED:
            return False
        self.warnings.append(f"{site.place}: cell {site.kind} is left out")
        return True

    def memory(self, memories: dict[str, PendingMemory], site: PlacedCell) -> PendingMemory:
        name = site.text("MEMID")
        if name not in memories:
            raise RtlilError(
                f"{site.title} names memory {public(name)}, which is not declared", place=site.place
            )
        return memories[name]

    def child(self, parent: Instance, site: PlacedCell) -> Instance:
        """Place the module that a cell names, and join its ports."""
        text, module = self.find(parent, site)
        if module.black_box:
            raise NetlistError(
                f"{site.title} is a black box",
                place=site.place,
                remedy="add the text of that module",
            )
        above: Instance | None = parent
        while above is not None:
            if above.module is module:
                raise NetlistError(f"module {public(module.name)} holds itself", place=site.place)
            above = above.parent
        for inside in module.wires.values():
            if inside.direction == "inout":
                raise self.inout(module, inside.name, inside.src)
        path = f"{site.name}."
        scope = Offset(self.nets.add_wires(module, path), path, module.src)
        for name, value in site.cell.params.items():
            if name not in module.params or digits(module.params[name]).lstrip("0") != digits(value).lstrip(
                "0"
            ):
                raise UnsupportedError(
                    f"{site.title} sets parameter {name} of module {public(module.name)}",
                    place=site.place,
                    remedy="that module has been read already; read it with this parameter",
                )
        for port in site.cell.ports:
            if not site.cell.ports[port]:
                continue  # left open
            wire = module.wires.get(f"\\{port}")
            if wire is None or not wire.direction:
                raise RtlilError(
                    f"{site.title}: module {public(module.name)} has no port {port}", place=site.place
                )
            within, without = scope.bits(wire.bits), site.port(port, wire.width)
            if wire.direction == "input":
                self.nets.connect(within, without)
            else:
                self.nets.connect(without, within)
        return Instance(module, text, scope, parent)

    def find(self, parent: Instance, site: PlacedCell) -> tuple[int, Module]:
        """The module that a cell names: in the text of its own module, else in the others."""
        found: list[tuple[int, Module]] = []
        order = [parent.text, *(n for n in range(len(self.library)) if n != parent.text)]
        for number in order:
            module = self.library[number].get(site.kind)
            if module is not None:
                found.append((number, module))
                if number == parent.text:
                    break
        if not found:
            raise NetlistError(
                f"{site.title} names module {public(site.kind)}, which is not there",
                place=site.place,
                remedy="add the text of that module",
            )
        if any(module.lines != found[0][1].lines for _, module in found):
            raise NetlistError(
                f"module {public(site.kind)} is defined differently in two texts",
                place=site.place,
                remedy="rename one",
            )
        return found[0]

    def inout(self, module: Module, name: str, src: str) -> UnsupportedError:
        return UnsupportedError(
            f"port {public(name)} of module {public(module.name)} is inout",
            place=src,
            remedy="use an input, an output and an enable",
        )


_FORMAL = "it is for formal proofs; leave it out of a simulation"
_REMEDIES = {
    **dict.fromkeys(("$ff", "$_FF_", "$anyinit", "$anyconst", "$anyseq", "$allconst", "$allseq"), _FORMAL),
    **dict.fromkeys(("$initstate", "$equiv", "$future_ff", "$get_tag", "$set_tag"), _FORMAL),
    **dict.fromkeys(("$specify2", "$specify3", "$specrule"), "it states delays; leave it out"),
    "$fsm": "run Yosys' `fsm_map` on it",
}
