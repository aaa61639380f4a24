// Runs a circuit in an event simulator on the same commands as main.c: `clocked INPUTS SIZE BLOCKS`, `sampled SIZE BLOCKS`, `outputs`.
`timescale 1ns / 1ns
module testbench;
    localparam STDIN = 32'h8000_0000;

    reg        clk = 1'b0;
    reg        rst = 1'b0;
    reg  [7:0] inputs = 8'd0;
    wire [7:0] outputs;
    reg  [7:0] samples [0:262143];
    reg  [7:0] recorded [0:262143];
    reg  [1023:0] file;
    reg  [63:0] command;
    integer number, size, blocks, block, i, found;

    `CIRCUIT circuit (.clk(clk), .rst(rst), .inputs(inputs), .outputs(outputs));

    initial begin
        if ($value$plusargs("samples=%s", file))
            found = $fread(samples, $fopen(file, "rb"));
        found = $fscanf(STDIN, "%s", command);
        while (found == 1) begin
            if (command == "clocked") begin
                found = $fscanf(STDIN, "%d %d %d", number, size, blocks);
                rst = number[6];
                inputs = number[7:0];
                for (block = 0; block < blocks; block = block + 1)
                    for (i = 0; i < size; i = i + 1) begin
                        #1 clk = 1'b1;
                        #1 clk = 1'b0;
                        recorded[i] = outputs;
                    end
                $display("done");
            end else if (command == "sampled") begin
                found = $fscanf(STDIN, "%d %d", size, blocks);
                for (block = 0; block < blocks; block = block + 1)
                    for (i = 0; i < size; i = i + 1) begin
                        inputs = samples[i];
                        rst = inputs[6];
                        clk = inputs[7];
                        #1 recorded[i] = outputs;
                    end
                $display("done");
            end else begin
                for (i = 0; i < size; i = i + 1)
                    $write("%02x", recorded[i]);
                $display("");
            end
            $fflush;
            found = $fscanf(STDIN, "%s", command);
        end
        $finish;
    end
endmodule
