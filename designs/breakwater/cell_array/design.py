"""Cell array: four cells of logic that become whatever is loaded into them over the lines."""

from amaranth.hdl import Cat, Module, Signal, unsigned
from amaranth.lib import data, wiring
from amaranth.lib.wiring import In, Out

CELLS = 4


class Cell(data.Struct):
    """What a cell is told: where its four inputs come from, and its next output for each of their 16 levels."""

    sources: data.ArrayLayout(unsigned(3), 4)  # 0 to 3 are i0 to i3; 4 to 7 are the outputs of the cells
    table: unsigned(16)


class CellArray(wiring.Component):
    """With i5 each step loads the bit on i4, the last cell's table last; without it the cells work, on o0 to o3."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        bit = self.inputs[4]
        load = self.inputs[5]

        told = Signal(data.ArrayLayout(Cell, CELLS))
        chain = told.as_value()
        outputs = Signal(CELLS)  # registers, so that cells in a ring are no trouble
        with m.If(load):
            m.d.sync += chain.eq(Cat(chain[1:], bit))
            m.d.sync += outputs.eq(0)
        with m.Else():
            lines = Cat(self.inputs[0:4], outputs)
            for output, cell in zip(outputs, told, strict=True):
                levels = Cat(lines.bit_select(source, 1) for source in cell.sources)
                m.d.sync += output.eq(cell.table.bit_select(levels, 1))

        m.d.comb += self.outputs[0:CELLS].eq(outputs)
        m.d.comb += self.outputs[7].eq(chain[0])
        return m
